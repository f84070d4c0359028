-- 000025_finding_obsolete.up.sql: which write made a finding obsolete, so that nobody can
-- do away with a doubt unseen.
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding ADD COLUMN obsolete_sequence bigint CHECK (obsolete_sequence > 0); -- NULL: never, or raised again since
CREATE INDEX finding_obsolete ON finding (obsolete_sequence) WHERE obsolete_sequence IS NOT NULL;
