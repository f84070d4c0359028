-- Tester $1.
SELECT id, display_name, trusted, created_at, sequence FROM tester WHERE id = $1;
