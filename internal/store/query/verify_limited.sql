-- The findings that ledger rows $1 limited to revisions of a rig.
SELECT limited_sequence, id, rig_revision_until FROM finding WHERE limited_sequence = ANY ($1::bigint[]) ORDER BY limited_sequence, id;
