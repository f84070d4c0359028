-- Moves panel model $1 from revision $2 to the next.
UPDATE panel_model AS m SET revision = m.revision + 1
FROM panel_model_revision AS first
WHERE m.slug = $1 AND m.revision = $2 AND first.panel_model_id = m.id AND first.revision = 1
RETURNING m.id, m.created_by, first.created_at;
