-- What ledger rows $1 recorded of sessions, and the hash that their results must have now.
SELECT s.sequence, s.id, s.revision, s.tester_id, s.rig_id, s.rig_revision, s.reason_code, s.reason, s.started_at, s.ended_at,
  s.latitude_deg, s.longitude_deg, s.altitude_m, s.client_ref, s.panel_models, encode(sha256(s.raw), 'hex'), s.content_sha256,
  s.method, s.model_revisions, s.results_sha256,
  coalesce((
    SELECT j.results_sha256 FROM rejudgement AS j
    WHERE j.session_id = s.id AND j.session_revision = s.revision
    ORDER BY j.sequence DESC
    LIMIT 1), s.results_sha256)
FROM session AS s
WHERE s.sequence = ANY ($1::bigint[])
ORDER BY s.sequence, s.id;
