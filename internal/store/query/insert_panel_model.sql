-- Stores the slug of a new panel model.
INSERT INTO panel_model (id, slug, revision, created_by) VALUES ($1, $2, 1, $3);
