-- 000034_finding_superseded.down.sql: takes back 000034_finding_superseded.up.sql: doubts that
-- no method took back are open again.
SET LOCAL lock_timeout = '5s';

UPDATE finding AS f SET state = 'open', obsolete_sequence = NULL
FROM ledger AS l
WHERE l.sequence = f.obsolete_sequence AND l.kind IN ('session_revised', 'session_withdrawn') AND l.subject_id = f.session_id::text AND f.state = 'obsolete';
