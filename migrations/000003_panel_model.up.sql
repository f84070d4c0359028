-- 000003_panel_model.up.sql: a make and model, addressed by its slug, which is never
-- used again. What is known of it stands in panel_model_revision. Rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE panel_model (
  id         uuid PRIMARY KEY,
  slug       text NOT NULL CONSTRAINT panel_model_slug UNIQUE CHECK (slug ~ '^[a-z0-9]+(-[a-z0-9]+)*$' AND length(slug) <= 80),
  revision   integer NOT NULL CHECK (revision >= 1), -- the current one
  created_by uuid NOT NULL
);
