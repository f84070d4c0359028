-- Stores one revision of a session.
INSERT INTO session (id, revision, tester_id, rig_id, rig_revision, state, state_reason, reason_code, reason, started_at,
  ended_at, submitted_at, latitude_deg, longitude_deg, altitude_m, client_ref, panel_models, raw, content_sha256, method,
  model_revisions, sequence, results_sha256)
VALUES ($1, $2, $3, $4, $5, 'accepted', '', $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19::text::jsonb, $20, $21);
