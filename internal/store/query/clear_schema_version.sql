-- Removes the mark of the newest migration.
DELETE FROM schema_migrations;
