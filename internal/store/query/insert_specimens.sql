-- Stores the units of tester $1 that are new; the arrays have one element a unit.
INSERT INTO specimen (id, tester_id, panel_model_id, name)
SELECT s.id, $1, m.id, s.name
FROM unnest($2::uuid[], $3::text[], $4::text[]) AS s(id, slug, name)
JOIN panel_model AS m ON m.slug = s.slug
ORDER BY s.slug, s.name
ON CONFLICT (tester_id, panel_model_id, name) DO NOTHING;
