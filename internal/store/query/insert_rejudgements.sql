-- Notes that sessions $1 at revisions $2 were judged anew at sequence $4, with results whose
-- hashes are $3; the arrays have one element a session.
INSERT INTO rejudgement (session_id, session_revision, results_sha256, sequence)
SELECT r.session_id, r.revision, r.results_sha256, $4
FROM unnest($1::uuid[], $2::integer[], $3::text[]) AS r(session_id, revision, results_sha256);
