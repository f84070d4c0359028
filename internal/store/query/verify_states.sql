-- What may change, where it does not follow from what was recorded, at most $1 of each.
(SELECT 'tester' AS thing, t.id::text AS subject, t.sequence, 'trusted is not as last decided' AS reason FROM tester AS t
 WHERE t.trusted IS DISTINCT FROM (SELECT u.trusted FROM tester_trust AS u WHERE u.tester_id = t.id ORDER BY u.sequence DESC LIMIT 1)
 ORDER BY t.sequence LIMIT $1)
UNION ALL
(SELECT 'key', k.id, k.sequence, 'it is revoked, but no row revokes it' FROM api_key AS k
 WHERE k.revoked_at IS NOT NULL AND NOT EXISTS (SELECT FROM ledger AS l WHERE l.subject_id = k.id AND l.kind = 'key_revoked')
 ORDER BY k.sequence LIMIT $1)
UNION ALL
(SELECT 'panel model', m.slug, v.sequence, 'the current revision is not the newest' FROM panel_model AS m
 JOIN panel_model_revision AS v ON v.panel_model_id = m.id AND v.revision = 1
 WHERE m.revision <> (SELECT max(n.revision) FROM panel_model_revision AS n WHERE n.panel_model_id = m.id) OR m.created_by <> v.created_by
 ORDER BY v.sequence LIMIT $1)
UNION ALL
(SELECT 'rig', g.id::text, v.sequence, 'the current revision is not the newest' FROM rig AS g
 JOIN rig_revision AS v ON v.rig_id = g.id AND v.revision = 1
 WHERE g.revision <> (SELECT max(n.revision) FROM rig_revision AS n WHERE n.rig_id = g.id)
 ORDER BY v.sequence LIMIT $1)
UNION ALL
(SELECT 'session', s.id::text, s.sequence, 'its state is not as recorded' FROM session AS s
 LEFT JOIN session AS n ON n.id = s.id AND n.revision = s.revision + 1
 WHERE s.superseded_sequence IS DISTINCT FROM n.sequence OR (s.state <> 'withdrawn' AND s.state_reason <> '')
   OR s.state <> CASE
     WHEN n.sequence IS NOT NULL THEN 'superseded'
     WHEN (SELECT l.kind FROM ledger AS l WHERE l.subject_id = s.id::text AND l.kind IN ('session_withdrawn', 'session_restored')
       ORDER BY l.sequence DESC LIMIT 1) = 'session_withdrawn' THEN 'withdrawn'
     ELSE 'accepted' END
 ORDER BY s.sequence LIMIT $1)
UNION ALL
(SELECT 'session', s.id::text, s.sequence, 'it is not known again by its content' FROM session AS s
 WHERE NOT EXISTS (SELECT FROM session_identity AS i
   WHERE i.tester_id = s.tester_id AND i.kind = 'content' AND i.value = s.content_sha256 AND i.session_id = s.id)
 ORDER BY s.sequence LIMIT $1)
UNION ALL
(SELECT 'session', s.id::text, s.sequence, 'a reading says another tester, rig, unit or state' FROM session AS s
 WHERE EXISTS (SELECT FROM reading AS r JOIN specimen AS u ON u.id = r.specimen_id WHERE r.session_id = s.id AND r.session_revision = s.revision
   AND (r.tester_id <> s.tester_id OR r.rig_id <> s.rig_id OR u.tester_id <> s.tester_id OR u.panel_model_id <> r.panel_model_id OR (r.state = 'superseded') <> (s.state <> 'accepted')))
 ORDER BY s.sequence LIMIT $1)
UNION ALL
(SELECT 'finding', f.id::text, f.sequence, 'its state is not as last decided' FROM finding AS f
 LEFT JOIN LATERAL (SELECT v.verdict FROM verdict AS v
   WHERE (v.finding_id = f.id OR v.finding_id = f.retains AND v.sequence < f.sequence) AND v.sequence > coalesce(f.reopened_sequence, 0)
   ORDER BY v.sequence DESC, v.id DESC LIMIT 1) AS d ON true
 WHERE CASE f.state
   WHEN 'obsolete' THEN f.obsolete_sequence IS NULL OR NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = f.obsolete_sequence
     AND (f.identity IS NULL OR EXISTS (SELECT FROM audit_run AS a WHERE a.sequence = l.sequence AND f.id = ANY (a.obsolete)))
     AND (l.kind NOT IN ('session_revised', 'session_withdrawn') OR EXISTS (SELECT FROM session AS s
       WHERE s.id = f.session_id AND s.revision = f.session_revision AND s.id::text = l.subject_id AND s.state <> 'accepted')))
   ELSE f.obsolete_sequence IS NOT NULL
     OR f.state <> CASE d.verdict WHEN 'keep' THEN 'kept' WHEN 'exclude' THEN 'excluded' WHEN 'ask' THEN 'asked' ELSE 'open' END
   END
 ORDER BY f.sequence LIMIT $1)
UNION ALL
(SELECT 'finding', f.id::text, f.sequence, 'it is limited to revisions of its rig that nobody recorded' FROM finding AS f
 WHERE (f.rig_revision_until IS NULL) <> (f.limited_sequence IS NULL)
   OR f.limited_sequence IS NOT NULL
   AND NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = f.limited_sequence AND l.kind = 'findings_raised')
 ORDER BY f.sequence LIMIT $1)
UNION ALL
(SELECT 'finding', f.id::text, f.sequence, 'it was opened again by no revision of its session' FROM finding AS f
 WHERE f.reopened_sequence IS NOT NULL AND NOT EXISTS (SELECT FROM ledger AS l
   WHERE l.sequence = f.reopened_sequence AND l.kind = 'session_revised' AND l.subject_id = f.session_id::text)
 ORDER BY f.sequence LIMIT $1)
ORDER BY 3, 1, 2;
