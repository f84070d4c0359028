-- Whether tester $2 has readings of their own of a panel model that session $1 has readings
-- of.
SELECT EXISTS (
  SELECT FROM session AS s
  JOIN session AS own ON own.panel_models && s.panel_models
  WHERE s.id = $1 AND s.superseded_sequence IS NULL
    AND own.tester_id = $2 AND own.superseded_sequence IS NULL AND own.state = 'accepted' AND own.tester_id <> s.tester_id);
