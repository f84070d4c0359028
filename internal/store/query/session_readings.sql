-- The readings of revision $2 of session $1 with their results, in order.
SELECT r.id, r.label, m.slug, s.name, r.kind, r.arrangement, r.taken_at, r.state, v.result_reason, v.body
FROM reading AS r
JOIN panel_model AS m ON m.id = r.panel_model_id
JOIN specimen AS s ON s.id = r.specimen_id
LEFT JOIN reading_result AS v ON v.reading_id = r.id
WHERE r.session_id = $1 AND r.session_revision = $2
ORDER BY r.position;
