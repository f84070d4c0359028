-- Those of findings $1 about a rig that still reach a session: a current one that used
-- the rig at a revision up to $2, or up to the earlier one that the finding is limited to.
SELECT f.id
FROM finding AS f
WHERE f.id = ANY ($1::uuid[]) AND EXISTS (
  SELECT FROM session AS s
  WHERE s.rig_id = f.rig_id AND s.superseded_sequence IS NULL AND s.state = 'accepted'
    AND s.rig_revision <= coalesce(f.rig_revision_until, $2::integer))
ORDER BY f.id;
