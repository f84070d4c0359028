-- What ledger rows $1 recorded of panel models.
SELECT v.sequence, m.id, m.slug, v.revision, v.maker, v.model, v.technology, v.pmax_w, v.mass_kg, v.cell_area_m2,
  v.panel_area_m2, v.body, v.reason, v.created_by
FROM panel_model_revision AS v
JOIN panel_model AS m ON m.id = v.panel_model_id
WHERE v.sequence = ANY ($1::bigint[])
ORDER BY v.sequence, m.id;
