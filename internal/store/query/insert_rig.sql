-- Stores a new rig of tester $2.
INSERT INTO rig (id, tester_id, revision) VALUES ($1, $2, 1);
