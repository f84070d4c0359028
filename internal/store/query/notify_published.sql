-- Wakes who waits for rankings that cover sequence $1.
SELECT pg_notify('evensun_published', $1::bigint::text);
