-- What ledger rows $1 recorded of snapshots.
SELECT sequence, name, sha256, created_at, manifest FROM snapshot WHERE sequence = ANY ($1::bigint[]) ORDER BY sequence, name;
