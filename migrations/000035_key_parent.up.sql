-- 000035_key_parent.up.sql: which key made a key, so that what a leaked key made can be
-- found and revoked with it.
SET LOCAL lock_timeout = '5s';

ALTER TABLE api_key ADD COLUMN parent_id text REFERENCES api_key (id); -- NULL: made on the server, with the operator's setting, or by a registration
CREATE INDEX api_key_parent ON api_key (parent_id);
