-- The current revision of panel model $1.
SELECT revision FROM panel_model WHERE slug = $1;
