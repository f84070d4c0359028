-- A page of $1 sessions as they were at sequence $2, after ($3, $5), newest first; $4 is not
-- used. Filters: tester $6, rig $7, panel models $8, started from $9 before $10,
-- arrangements $11, states $12, within $15 km of ($13, $14) on a sphere of 6371 km.
SELECT s.id, s.revision, s.state, s.tester_id, s.started_at, s.ended_at, s.submitted_at, s.latitude_deg, s.longitude_deg,
  (SELECT count(*) FROM reading AS r WHERE r.session_id = s.id AND r.session_revision = s.revision),
  (SELECT count(*) FROM reading AS r WHERE r.session_id = s.id AND r.session_revision = s.revision AND r.state = 'held'),
  s.panel_models, s.sequence
FROM session AS s
WHERE s.sequence <= LEAST($2::bigint, $3::bigint) AND (s.superseded_sequence IS NULL OR s.superseded_sequence > $2 OR 'superseded' = ANY ($12::text[]))
  AND ($3 IS NULL OR (s.sequence, s.id) < ($3, $5::text::uuid))
  AND ($4::float8 IS NULL OR true)
  AND ($6::uuid IS NULL OR s.tester_id = $6)
  AND ($7::uuid IS NULL OR s.rig_id = $7)
  AND ($8::text[] IS NULL OR s.panel_models && $8)
  AND ($9::timestamptz IS NULL OR s.started_at >= $9)
  AND ($10::timestamptz IS NULL OR s.started_at < $10)
  AND ($11::text[] IS NULL OR EXISTS (
    SELECT FROM reading AS r
    WHERE r.session_id = s.id AND r.session_revision = s.revision AND r.arrangement = ANY ($11)))
  AND ($12 IS NULL OR s.state = ANY ($12))
  AND ($13::float8 IS NULL OR 2 * 6371 * asin(least(1, sqrt(
    sin(radians(s.latitude_deg - $13) / 2) ^ 2
    + cos(radians($13)) * cos(radians(s.latitude_deg)) * sin(radians(s.longitude_deg - $14::float8) / 2) ^ 2))) <= $15::float8)
ORDER BY s.sequence DESC, s.id DESC
LIMIT $1;
