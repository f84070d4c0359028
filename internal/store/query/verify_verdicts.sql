-- What ledger rows $1 recorded of verdicts.
SELECT sequence, id, finding_id, verdict, note, reviewer_id FROM verdict WHERE sequence = ANY ($1::bigint[]) ORDER BY sequence, id;
