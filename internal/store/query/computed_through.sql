-- The sequence that the ranking of measure $1 and key $2 covers: all, where none of its
-- groups $3 is stale.
SELECT CASE
    WHEN EXISTS (SELECT FROM dirty WHERE stale_group = ANY ($3::text[]))
    THEN coalesce((SELECT computed_through FROM ranking WHERE measure = $1 AND key = $2), 0)
    ELSE (SELECT sequence FROM ledger_head WHERE id = 1)
  END;
