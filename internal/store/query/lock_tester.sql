-- Tester $1, locked, so that writes that rest on how many keys they have come one by one.
SELECT id, display_name, trusted, created_at, sequence FROM tester WHERE id = $1 FOR NO KEY UPDATE;
