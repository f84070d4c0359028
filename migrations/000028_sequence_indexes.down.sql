-- 000028_sequence_indexes.down.sql
SET LOCAL lock_timeout = '5s';

DROP INDEX tester_trust_sequence;
DROP INDEX verdict_sequence;
DROP INDEX price_sequence;
DROP INDEX api_key_sequence;
