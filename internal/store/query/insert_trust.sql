-- Notes that tester $1 is trusted, or not, from sequence $3 on.
INSERT INTO tester_trust (tester_id, trusted, sequence) VALUES ($1, $2, $3);
