-- Stores one revision of panel model $1.
INSERT INTO panel_model_revision (panel_model_id, revision, maker, model, technology, pmax_w, mass_kg, cell_area_m2,
  panel_area_m2, body, reason, created_by, created_at, sequence)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10::text::jsonb, $11, $12, $13, $14);
