-- 000004_panel_model_revision.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE panel_model_revision;
