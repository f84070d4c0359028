-- Rows that no row of the ledger records, at the time at which they say they came, at most $1
-- of each table.
(SELECT 'tester' AS thing, t.id::text AS subject, t.sequence FROM tester AS t
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = t.sequence AND l.at = t.created_at AND l.kind = 'tester_created' AND l.subject_id = t.id::text)
 ORDER BY t.sequence LIMIT $1)
UNION ALL
(SELECT 'trust in a tester', u.tester_id::text, u.sequence FROM tester_trust AS u
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = u.sequence AND l.kind IN ('tester_created', 'tester_trusted') AND l.subject_id = u.tester_id::text)
 ORDER BY u.sequence LIMIT $1)
UNION ALL
(SELECT 'key', k.id, k.sequence FROM api_key AS k
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = k.sequence AND l.at = k.created_at AND l.kind = 'key_created' AND l.subject_id = k.id)
 ORDER BY k.sequence LIMIT $1)
UNION ALL
(SELECT 'panel model', m.slug, v.sequence FROM panel_model_revision AS v JOIN panel_model AS m ON m.id = v.panel_model_id
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = v.sequence AND l.at = v.created_at AND l.kind IN ('panel_model_created', 'panel_model_revised') AND l.subject_id = m.slug)
 ORDER BY v.sequence LIMIT $1)
UNION ALL
(SELECT 'price', p.id::text, p.sequence FROM price AS p
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = p.sequence AND l.at = p.created_at AND l.kind = 'price_added' AND l.subject_id = p.id::text)
 ORDER BY p.sequence LIMIT $1)
UNION ALL
(SELECT 'rig', v.rig_id::text, v.sequence FROM rig_revision AS v
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = v.sequence AND l.at = v.created_at AND l.kind IN ('rig_created', 'rig_revised') AND l.subject_id = v.rig_id::text)
 ORDER BY v.sequence LIMIT $1)
UNION ALL
(SELECT 'session', s.id::text, s.sequence FROM session AS s
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = s.sequence AND l.at = s.submitted_at AND l.kind IN ('session_accepted', 'session_revised') AND l.subject_id = s.id::text)
 ORDER BY s.sequence LIMIT $1)
UNION ALL
(SELECT 'finding', f.id::text, f.sequence FROM finding AS f
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = f.sequence AND l.at = f.created_at
   AND (l.kind IN ('findings_raised', 'audit', 'results_replaced') OR l.kind IN ('session_accepted', 'session_revised') AND l.subject_id = f.session_id::text))
 ORDER BY f.sequence LIMIT $1)
UNION ALL
(SELECT 'verdict', v.id::text, v.sequence FROM verdict AS v
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = v.sequence AND l.at = v.decided_at AND l.kind = 'verdict_given' AND l.subject_id = v.finding_id::text)
 ORDER BY v.sequence LIMIT $1)
UNION ALL
(SELECT 'withdrawal', w.session_id::text, w.sequence FROM withdrawal AS w
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = w.sequence AND l.subject_id = w.session_id::text
   AND l.kind = CASE WHEN w.restored THEN 'session_restored' ELSE 'session_withdrawn' END)
 ORDER BY w.sequence LIMIT $1)
UNION ALL
(SELECT 'new judgement of a session', j.session_id::text, j.sequence FROM rejudgement AS j
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = j.sequence AND l.kind = 'results_replaced')
 ORDER BY j.sequence LIMIT $1)
UNION ALL
(SELECT 'audit', a.sequence::text, a.sequence FROM audit_run AS a
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = a.sequence AND l.kind = 'audit')
 ORDER BY a.sequence LIMIT $1)
UNION ALL
(SELECT 'snapshot', n.name, n.sequence FROM snapshot AS n
 WHERE NOT EXISTS (SELECT FROM ledger AS l WHERE l.sequence = n.sequence AND l.kind = 'snapshot_created' AND l.subject_id = n.name)
 ORDER BY n.sequence LIMIT $1)
ORDER BY 3, 1, 2;
