-- Notes what the audit with sequence $1 of the data up to sequence $2 changed.
INSERT INTO audit_run (sequence, computed_through, obsolete, reopened) VALUES ($1, $2, $3, $4);
