-- The published ranking of measure $1 and key $2.
SELECT measure, key, computed_through, computed_at, sha256, body FROM ranking WHERE measure = $1 AND key = $2;
