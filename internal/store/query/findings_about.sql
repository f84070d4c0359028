-- Readings $1, each with its state and arrangement and, one row each, the severities and
-- states of all findings about it; NULL where there is none.
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
)
SELECT DISTINCT r.id, r.arrangement, r.state, a.severity, a.state
FROM reading AS r
LEFT JOIN reading_result AS v ON v.reading_id = r.id
LEFT JOIN about AS a ON a.id = r.id AND coalesce(a.arrangement, r.arrangement) = r.arrangement
  AND (a.cover_class IS NULL OR a.cover_class = v.cover_class)
WHERE r.id = ANY ($1)
ORDER BY r.id;
