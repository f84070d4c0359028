-- Notes that tester $1's session $4 is known by the pairs of $2 and $3, and tells which
-- session each pair stands for: another one where it was noted before.
INSERT INTO session_identity (tester_id, kind, value, session_id)
SELECT $1, i.kind, i.value, $4 FROM unnest($2::text[], $3::text[]) AS i(kind, value)
ON CONFLICT (tester_id, kind, value) DO UPDATE SET session_id = session_identity.session_id
RETURNING kind, session_id;
