-- 000032_finding_arrangement.up.sql: how the panel lay in the readings that a finding is
-- about. A finding about covered readings hid one about tilted ones, and excluding it took
-- out all arrangements.
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding
  ADD COLUMN arrangement text CHECK (arrangement IN ('tilted', 'flat', 'covered')), -- NULL: all
  ADD COLUMN cover_class text CHECK (cover_class IS NULL OR arrangement = 'covered'); -- NULL: all
