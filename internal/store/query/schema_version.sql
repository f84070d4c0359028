-- The number of the newest migration that ran, and whether an earlier program left it
-- half-way; no row for none.
SELECT version, dirty FROM schema_migrations;
