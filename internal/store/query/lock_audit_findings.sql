-- All findings that audits raised by rules $1, with the newest verdict that counts on each, locked in
-- the order in which all audits lock them.
SELECT f.id, f.identity, f.state, f.reading_id, f.session_id, f.rig_id, f.panel_model, f.tester_id, f.arrangement, f.cover_class,
  (SELECT v.verdict FROM verdict AS v
   WHERE (v.finding_id = f.id OR v.finding_id = f.retains AND v.sequence < f.sequence) AND v.sequence > coalesce(f.reopened_sequence, 0)
   ORDER BY v.sequence DESC, v.id DESC LIMIT 1)
FROM finding AS f
WHERE f.identity IS NOT NULL AND f.rule = ANY ($1::text[])
ORDER BY f.id
FOR UPDATE OF f;
