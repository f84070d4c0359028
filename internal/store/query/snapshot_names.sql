-- The names of the snapshots of week $1.
SELECT name FROM snapshot WHERE name = $1 OR name LIKE $1 || '-%' ORDER BY name;
