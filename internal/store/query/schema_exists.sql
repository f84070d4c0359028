-- Whether any migration ever ran here.
SELECT to_regclass('schema_migrations') IS NOT NULL;
