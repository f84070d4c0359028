-- The session of tester $1 that value $3 of kind $2 stands for.
SELECT session_id FROM session_identity WHERE tester_id = $1 AND kind = $2 AND value = $3;
