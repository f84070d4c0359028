-- Moves the ledger's head, which this transaction has locked.
UPDATE ledger_head SET sequence = $1, at = $2, hash = $3 WHERE id = 1;
