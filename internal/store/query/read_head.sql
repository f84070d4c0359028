-- The ledger's head, for a write that appends nothing.
SELECT sequence, at, hash, clock_timestamp() FROM ledger_head WHERE id = 1;
