-- The findings of audits on which a reviewer's decision stands.
SELECT reading_id, session_id, session_revision, rig_id, panel_model, tester_id, state
FROM finding
WHERE identity IS NOT NULL AND state IN ('kept', 'excluded')
ORDER BY id;
