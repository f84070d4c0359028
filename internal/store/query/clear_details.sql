-- Removes the details of rankings that $1, $2 and $3 replace; the arrays have one element a
-- ranking.
DELETE FROM ranking_detail AS d
USING unnest($1::text[], $2::text[], $3::bigint[]) AS r(measure, key, computed_through)
WHERE d.measure = r.measure AND d.key = r.key AND d.computed_through <= r.computed_through;
