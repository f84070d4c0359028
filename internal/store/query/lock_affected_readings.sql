-- The readings that match all that is given of reading $1, session $2, its revision $3, rig
-- $4, panel model $5, tester $6, arrangement $7 and cover class $8, locked in the order in which all writers lock them.
-- Of the five branches one runs: that of the narrowest id, by its index.
SELECT r.id, r.tester_id
FROM reading AS r
WHERE r.state <> 'superseded'
  AND r.id IN (
    SELECT a.id FROM reading AS a WHERE a.id = $1::uuid
    UNION ALL
    SELECT a.id FROM reading AS a WHERE $1 IS NULL AND a.session_id = $2::uuid
    UNION ALL
    SELECT a.id FROM reading AS a WHERE $1 IS NULL AND $2 IS NULL AND a.rig_id = $4::uuid
    UNION ALL
    SELECT a.id FROM reading AS a JOIN panel_model AS m ON m.id = a.panel_model_id
    WHERE $1 IS NULL AND $2 IS NULL AND $4 IS NULL AND m.slug = $5::text
    UNION ALL
    SELECT a.id FROM reading AS a WHERE $1 IS NULL AND $2 IS NULL AND $4 IS NULL AND $5 IS NULL AND a.tester_id = $6::uuid
  )
  AND ($3::integer IS NULL OR r.session_revision = $3)
  AND ($4 IS NULL OR r.rig_id = $4)
  AND ($5 IS NULL OR r.panel_model_id = (SELECT m.id FROM panel_model AS m WHERE m.slug = $5))
  AND ($6 IS NULL OR r.tester_id = $6)
  AND ($7::text IS NULL OR r.arrangement = $7)
  AND ($8::text IS NULL OR EXISTS (SELECT FROM reading_result AS v WHERE v.reading_id = r.id AND v.cover_class = $8))
ORDER BY r.id
FOR UPDATE;
