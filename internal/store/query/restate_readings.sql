-- Gives readings $1 the state that follows from all findings about them: excluded by one
-- that excludes, else held by a hold that is open or asked, else counted. Returns the id and
-- arrangement of each reading that changed.
WITH about AS (
  SELECT r.id, f.severity, f.state, f.arrangement, f.cover_class
  FROM reading AS r
  JOIN finding AS f ON f.reading_id = r.id
  WHERE r.id = ANY ($1::uuid[])
  UNION ALL
  SELECT r.id, f.severity, f.state, f.arrangement, f.cover_class
  FROM reading AS r
  JOIN panel_model AS m ON m.id = r.panel_model_id
  JOIN finding AS f ON f.session_id = r.session_id AND f.reading_id IS NULL
    AND coalesce(f.session_revision, r.session_revision) = r.session_revision
    AND coalesce(f.rig_id, r.rig_id) = r.rig_id AND coalesce(f.panel_model, m.slug) = m.slug
  WHERE r.id = ANY ($1)
  UNION ALL
  SELECT r.id, f.severity, f.state, f.arrangement, f.cover_class
  FROM reading AS r
  JOIN panel_model AS m ON m.id = r.panel_model_id
  JOIN finding AS f ON f.rig_id = r.rig_id AND f.session_id IS NULL AND f.reading_id IS NULL
    AND coalesce(f.panel_model, m.slug) = m.slug
    AND (f.rig_revision_until IS NULL OR EXISTS (
      SELECT FROM session AS s
      WHERE s.id = r.session_id AND s.revision = r.session_revision AND s.rig_revision <= f.rig_revision_until))
  WHERE r.id = ANY ($1)
  UNION ALL
  SELECT r.id, f.severity, f.state, f.arrangement, f.cover_class
  FROM reading AS r
  JOIN panel_model AS m ON m.id = r.panel_model_id
  JOIN finding AS f ON f.panel_model = m.slug AND f.rig_id IS NULL AND f.session_id IS NULL AND f.reading_id IS NULL
    AND coalesce(f.tester_id, r.tester_id) = r.tester_id
  WHERE r.id = ANY ($1)
  UNION ALL
  SELECT r.id, f.severity, f.state, f.arrangement, f.cover_class
  FROM reading AS r
  JOIN finding AS f ON f.tester_id = r.tester_id AND f.panel_model IS NULL AND f.rig_id IS NULL AND f.session_id IS NULL
    AND f.reading_id IS NULL
  WHERE r.id = ANY ($1)
), judged AS (
  SELECT r.id,
    CASE
      WHEN coalesce(bool_or(a.state = 'excluded'), false) THEN 'excluded'
      WHEN coalesce(bool_or(a.severity <> 'note' AND a.state IN ('open', 'asked')), false) THEN 'held'
      ELSE 'counted'
    END AS state
  FROM reading AS r
  LEFT JOIN reading_result AS v ON v.reading_id = r.id
  LEFT JOIN about AS a ON a.id = r.id AND coalesce(a.arrangement, r.arrangement) = r.arrangement
    AND (a.cover_class IS NULL OR a.cover_class = v.cover_class)
  WHERE r.id = ANY ($1)
  GROUP BY r.id
)
UPDATE reading AS r SET state = j.state
FROM judged AS j
WHERE r.id = j.id AND r.state <> j.state AND r.state <> 'superseded'
RETURNING r.id, r.arrangement;
