-- Opens those of findings $1 again that a reviewer has decided or asked about.
UPDATE finding SET state = 'open' WHERE id = ANY ($1::uuid[]) AND state IN ('kept', 'excluded', 'asked');
