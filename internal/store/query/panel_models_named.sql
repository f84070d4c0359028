-- The current revisions of the panel models $1.
SELECT m.id, v.revision, v.reason, m.created_by, first.created_at, v.created_at, v.sequence, v.body
FROM panel_model AS m
JOIN panel_model_revision AS first ON first.panel_model_id = m.id AND first.revision = 1
JOIN panel_model_revision AS v ON v.panel_model_id = m.id AND v.revision = m.revision
WHERE m.slug = ANY ($1::text[])
ORDER BY m.slug;
