-- 000003_panel_model.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE panel_model;
