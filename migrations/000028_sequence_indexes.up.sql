-- 000028_sequence_indexes.up.sql: from a ledger row to what it records, where no index led
-- there yet. Verifying looks up every row so.
SET LOCAL lock_timeout = '5s';

CREATE INDEX api_key_sequence ON api_key (sequence);
CREATE INDEX price_sequence ON price (sequence);
CREATE INDEX verdict_sequence ON verdict (sequence);
CREATE INDEX tester_trust_sequence ON tester_trust (sequence);
