-- Stores a tester.
INSERT INTO tester (id, display_name, trusted, profile_salt, created_at, sequence)
VALUES ($1, $2, $3, $4, $5, $6);
