-- Stores a verdict.
INSERT INTO verdict (id, finding_id, verdict, note, reviewer_id, decided_at, sequence)
VALUES ($1, $2, $3, $4, $5, $6, $7);
