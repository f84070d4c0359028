-- Stores details; the arrays have one element a panel model and ranking.
INSERT INTO ranking_detail (panel_model, measure, key, computed_through, sha256, body)
SELECT d.panel_model, d.measure, d.key, d.computed_through, d.sha256, d.body
FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::text[], $6::bytea[])
  AS d(panel_model, measure, key, computed_through, sha256, body)
ON CONFLICT (panel_model, measure, key) DO NOTHING;
