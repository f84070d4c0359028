-- Locks the ledger's head until the transaction ends: always the last lock taken.
SELECT sequence, at, hash, clock_timestamp() FROM ledger_head WHERE id = 1 FOR UPDATE;
