-- All published rankings.
SELECT measure, key, computed_through, computed_at, sha256, body FROM ranking ORDER BY measure, key;
