-- A page of $1 panel models at sequence $2 after slug $3, each at its newest revision of
-- then. Filters: maker $4, technologies $5, slugs $6.
SELECT m.id, v.revision, v.reason, m.created_by, first.created_at, v.created_at, v.sequence, v.body
FROM panel_model AS m
JOIN panel_model_revision AS first ON first.panel_model_id = m.id AND first.revision = 1
CROSS JOIN LATERAL (
  SELECT r.revision, r.reason, r.created_at, r.sequence, r.body, r.maker, r.technology
  FROM panel_model_revision AS r
  WHERE r.panel_model_id = m.id AND r.sequence <= $2
  ORDER BY r.revision DESC
  LIMIT 1
) AS v
WHERE ($3::text IS NULL OR m.slug > $3)
  AND ($4::text IS NULL OR lower(v.maker) = lower($4))
  AND ($5::text[] IS NULL OR v.technology = ANY ($5))
  AND ($6::text[] IS NULL OR m.slug = ANY ($6))
ORDER BY m.slug
LIMIT $1;
