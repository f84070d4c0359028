-- How many sessions of tester $1 were held for being a new tester's and then kept, and still
-- count as they were kept: neither withdrawn nor replaced. Session $2 is left out.
SELECT count(DISTINCT f.session_id)
FROM finding AS f
JOIN session AS s ON s.id = f.session_id AND s.revision = f.session_revision
WHERE f.tester_id = $1 AND f.session_id <> $2 AND f.state = 'kept' AND f.rule = 'new_tester'
  AND s.superseded_sequence IS NULL AND s.state = 'accepted';
