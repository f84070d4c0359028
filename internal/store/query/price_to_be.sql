-- The id of panel model $1, and amount $2 and date $3 as a price of it will be kept.
SELECT id, trim_scale($2::text::numeric(14, 4))::text, to_char($3::text::date, 'YYYY-MM-DD') FROM panel_model WHERE slug = $1;
