-- A page of $1 panel models at sequence $2 after slug $5, each at its newest revision of
-- then; $3 and $4 are not used. Filters: maker $6, technologies $7, slugs $8.
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
WHERE ($3::bigint IS NULL OR true) AND ($4::float8 IS NULL OR true)
  AND ($5::text IS NULL OR m.slug > $5)
  AND ($6::text IS NULL OR lower(v.maker) = lower($6))
  AND ($7::text[] IS NULL OR v.technology = ANY ($7))
  AND ($8::text[] IS NULL OR m.slug = ANY ($8))
ORDER BY m.slug
LIMIT $1;
