-- What finding $1 is about and whose data that is, locked against another verdict.
SELECT f.reading_id, f.session_id, f.session_revision, f.rig_id, f.panel_model, f.tester_id, f.arrangement, f.cover_class, f.state,
  coalesce(f.tester_id, (SELECT g.tester_id FROM rig AS g WHERE g.id = f.rig_id),
    (SELECT s.tester_id FROM session AS s WHERE s.id = f.session_id ORDER BY s.revision LIMIT 1))
FROM finding AS f
WHERE f.id = $1
FOR UPDATE OF f;
