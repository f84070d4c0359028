-- How many sessions of tester $1 were held for being a new tester's and then kept.
SELECT count(DISTINCT session_id)
FROM finding
WHERE tester_id = $1 AND state = 'kept' AND rule = 'new_tester';
