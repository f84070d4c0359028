-- The id of panel model $1.
SELECT id FROM panel_model WHERE slug = $1;
