-- Gives the findings about session $1 that its withdrawal at sequence $2 made obsolete the
-- state before: asked where a reviewer has asked, else open.
UPDATE finding AS f SET obsolete_sequence = NULL,
  state = CASE WHEN EXISTS (
    SELECT FROM verdict AS v
    WHERE (v.finding_id = f.id OR v.finding_id = f.retains AND v.sequence < f.sequence) AND v.sequence > coalesce(f.reopened_sequence, 0)
  ) THEN 'asked' ELSE 'open' END
WHERE f.session_id = $1 AND f.obsolete_sequence = $2;
