-- Locks what a finding is about against sessions that are on their way in: session $1, else
-- rig $2, else panel model $3, else tester $4. Of the four one runs.
WITH s AS (SELECT id FROM session WHERE id = $1::uuid AND superseded_sequence IS NULL FOR NO KEY UPDATE),
  g AS (SELECT id FROM rig WHERE $1 IS NULL AND id = $2::uuid FOR NO KEY UPDATE),
  m AS (SELECT id FROM panel_model WHERE $1 IS NULL AND $2 IS NULL AND slug = $3::text FOR NO KEY UPDATE),
  t AS (SELECT id FROM tester WHERE $1 IS NULL AND $2 IS NULL AND $3 IS NULL AND id = $4::uuid FOR NO KEY UPDATE)
SELECT id FROM s UNION ALL SELECT id FROM g UNION ALL SELECT id FROM m UNION ALL SELECT id FROM t;
