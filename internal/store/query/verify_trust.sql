-- What ledger rows $1 recorded of who is trusted.
SELECT sequence, tester_id, trusted FROM tester_trust WHERE sequence = ANY ($1::bigint[]) ORDER BY sequence, tester_id;
