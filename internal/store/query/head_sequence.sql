-- The sequence of the newest write.
SELECT sequence FROM ledger_head WHERE id = 1;
