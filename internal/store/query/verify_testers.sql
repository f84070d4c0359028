-- What ledger rows $1 recorded of testers.
SELECT t.sequence, t.id, t.display_name, coalesce(encode(t.profile_salt, 'hex'), ''), u.trusted
FROM tester AS t
JOIN tester_trust AS u ON u.tester_id = t.id AND u.sequence = t.sequence
WHERE t.sequence = ANY ($1::bigint[])
ORDER BY t.sequence, t.id;
