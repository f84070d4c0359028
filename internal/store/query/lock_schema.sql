-- Lets one replica at a time move the schema, until its transaction ends. The number is
-- only ours.
SELECT pg_advisory_xact_lock(7265300913);
