-- Appends rows to the ledger, all at time $1.
INSERT INTO ledger (sequence, at, kind, subject_id, content_sha256, prev_hash, hash)
SELECT r.sequence, $1, r.kind, r.subject_id, r.content_sha256, r.prev_hash, r.hash
FROM unnest($2::bigint[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[])
  AS r(sequence, kind, subject_id, content_sha256, prev_hash, hash);
