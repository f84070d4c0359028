-- What panel model $1's places in the rankings rest on.
SELECT panel_model, measure, key, computed_through, sha256, body
FROM ranking_detail
WHERE panel_model = $1
ORDER BY measure, key;
