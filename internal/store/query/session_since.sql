-- Whether a session with panel model $1 was stored after sequence $2.
SELECT EXISTS (SELECT FROM session WHERE panel_models && ARRAY[$1::text] AND sequence > $2);
