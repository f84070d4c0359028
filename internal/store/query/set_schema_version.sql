-- Marks migration $1 as the newest that ran.
INSERT INTO schema_migrations (version, dirty) VALUES ($1, false);
