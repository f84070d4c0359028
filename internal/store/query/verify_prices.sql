-- What ledger rows $1 recorded of prices.
SELECT p.sequence, p.id, m.slug, p.tester_id, trim_scale(p.amount)::text, p.currency, to_char(p.priced_on, 'YYYY-MM-DD'), p.region,
  p.condition
FROM price AS p
JOIN panel_model AS m ON m.id = p.panel_model_id
WHERE p.sequence = ANY ($1::bigint[])
ORDER BY p.sequence, p.id;
