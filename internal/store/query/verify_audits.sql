-- What ledger rows $1 recorded of audits.
SELECT sequence, computed_through, obsolete, reopened FROM audit_run WHERE sequence = ANY ($1::bigint[]) ORDER BY sequence;
