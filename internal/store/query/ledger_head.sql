-- The newest row's place.
SELECT sequence, at, hash FROM ledger_head WHERE id = 1;
