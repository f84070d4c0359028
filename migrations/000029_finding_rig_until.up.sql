-- 000029_finding_rig_until.up.sql: up to which revision of a rig a doubt about it reaches.
-- A corrected rig is no longer doubted, but sessions keep the revision that they used: as
-- long as one used the doubted one, the doubt stands for that.
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding
  ADD COLUMN rig_revision_until integer CHECK (rig_revision_until >= 1), -- NULL: it reaches all revisions
  ADD COLUMN limited_sequence bigint CHECK (limited_sequence > 0);       -- of the write that set it; NULL: none did
CREATE INDEX finding_limited ON finding (limited_sequence) WHERE limited_sequence IS NOT NULL;
