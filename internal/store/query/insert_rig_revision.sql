-- Stores one revision of rig $1.
INSERT INTO rig_revision (rig_id, revision, kind, power_read_at, body, created_at, sequence)
VALUES ($1, $2, $3, $4, $5::text::jsonb, $6, $7);
