-- 000034_finding_superseded.up.sql: nobody can decide any more on a doubt about a revision
-- that was replaced or withdrawn, so it is obsolete. Left open, twenty revisions that change
-- words buried the queue.
SET LOCAL lock_timeout = '5s';

UPDATE finding AS f SET state = 'obsolete', obsolete_sequence = coalesce(s.superseded_sequence, w.sequence)
FROM session AS s
LEFT JOIN withdrawal AS w ON w.session_id = s.id AND w.session_revision = s.revision AND NOT w.restored
WHERE s.id = f.session_id AND s.revision = f.session_revision AND f.identity IS NULL AND f.state IN ('open', 'asked')
  AND coalesce(s.superseded_sequence, w.sequence) IS NOT NULL;
