-- All prices of panel model $1, or of all for an empty slug, oldest first.
SELECT p.id, m.slug, p.tester_id, trim_scale(p.amount)::text, p.currency, to_char(p.priced_on, 'YYYY-MM-DD'), p.region,
       p.condition, p.created_at, p.sequence
FROM price AS p
JOIN panel_model AS m ON m.id = p.panel_model_id
WHERE $1 = '' OR m.slug = $1
ORDER BY p.priced_on, p.sequence, p.id;
