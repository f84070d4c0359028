-- Gives findings $1 the numbers and states of today's audit; the arrays have one element a
-- finding.
UPDATE finding AS f
SET severity = n.severity, value = n.value, limit_value = n.limit_value, relation = n.relation, reason = n.reason,
  basis = n.basis::jsonb, state = n.state, priority = n.priority, band = n.band,
  obsolete_sequence = NULL
FROM unnest($1::text[], $2::text[], $3::float8[], $4::float8[], $5::text[], $6::text[], $7::text[], $8::text[], $9::float8[],
  $10::text[]) AS n(id, severity, value, limit_value, relation, reason, basis, state, priority, band)
WHERE f.id = n.id::uuid;
