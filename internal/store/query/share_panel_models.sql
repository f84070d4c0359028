-- The current revisions of panel models $1, which stay current until the end of the write.
SELECT slug, revision FROM panel_model WHERE slug = ANY ($1) ORDER BY slug FOR SHARE;
