-- Stores a price.
INSERT INTO price (id, panel_model_id, tester_id, amount, currency, priced_on, region, condition, created_at, sequence)
VALUES ($1, $2, $3, $4::text::numeric, $5, $6::text::date, $7, $8, $9, $10);
