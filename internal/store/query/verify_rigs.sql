-- What ledger rows $1 recorded of rigs.
SELECT v.sequence, g.id, g.tester_id, v.revision, v.kind, v.power_read_at, v.body
FROM rig_revision AS v
JOIN rig AS g ON g.id = v.rig_id
WHERE v.sequence = ANY ($1::bigint[])
ORDER BY v.sequence, g.id;
