-- 000017_idempotency.up.sql: answers to requests with an Idempotency-Key, kept with the
-- data in one transaction. Rows live 7 days after their request, then they are deleted
-- in batches; client_ref and content hash still hold.
SET LOCAL lock_timeout = '5s';

CREATE TABLE idempotency (
  tester_id   uuid NOT NULL, -- no reference: the operator of the settings is no tester
  key         text NOT NULL CHECK (length(key) BETWEEN 1 AND 128),
  fingerprint bytea NOT NULL CHECK (length(fingerprint) = 32),
  status      integer NOT NULL,
  header      jsonb NOT NULL,
  body        bytea NOT NULL,
  expires_at  timestamptz NOT NULL,
  PRIMARY KEY (tester_id, key)
);
CREATE INDEX idempotency_expiry ON idempotency (expires_at);
