-- 000013_finding.up.sql: a rule's doubt about a reading, session, rig, panel model or
-- tester, with the numbers it judged by. Kept for ever: what a later method would not
-- raise is obsolete, never deleted, so that an old verdict can still be explained.
SET LOCAL lock_timeout = '5s';

CREATE TABLE finding (
  id               uuid PRIMARY KEY,
  identity         text CONSTRAINT finding_identity UNIQUE, -- of doubts raised by audits: rule and subject; NULL: raised at intake
  rule             text NOT NULL CHECK (rule ~ '^[a-z][a-z0-9_]*$'),
  severity         text NOT NULL CHECK (severity IN ('note', 'hold', 'reject')),
  tester_id        uuid,    -- whose data it is about; alone: about the tester
  rig_id           uuid,    -- NULL: not about a rig
  panel_model      text,    -- NULL: not about a panel model
  session_id       uuid,    -- NULL: not about one session
  session_revision integer,
  reading_id       uuid REFERENCES reading (id) DEFERRABLE INITIALLY DEFERRED, -- NULL: about more than one reading
  label            text,
  pointer          text NOT NULL,
  value            double precision, -- NULL: the rule compares no numbers
  limit_value      double precision,
  relation         text NOT NULL,
  unit             text NOT NULL,    -- UCUM, of value and limit_value
  reason           text NOT NULL,
  basis            jsonb NOT NULL,
  state            text NOT NULL CHECK (state IN ('open', 'kept', 'excluded', 'asked', 'obsolete')),
  priority         double precision NOT NULL CHECK (priority BETWEEN 0 AND 100),
  band             text NOT NULL CHECK (band IN ('', 'high', 'medium', 'low')),
  created_at       timestamptz NOT NULL,
  sequence         bigint NOT NULL CHECK (sequence > 0)
);
CREATE INDEX finding_reading ON finding (reading_id) WHERE reading_id IS NOT NULL;
CREATE INDEX finding_session ON finding (session_id, session_revision) WHERE session_id IS NOT NULL;
CREATE INDEX finding_rig ON finding (rig_id) WHERE rig_id IS NOT NULL AND session_id IS NULL;
CREATE INDEX finding_panel_model ON finding (panel_model) WHERE panel_model IS NOT NULL AND session_id IS NULL;
CREATE INDEX finding_tester ON finding (tester_id, state);
CREATE INDEX finding_queue ON finding (state, priority DESC, id);
CREATE INDEX finding_sequence ON finding (sequence, id);
