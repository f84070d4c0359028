-- A page of $1 sessions as they were at sequence $2, after ($3, $4), newest first.
-- Filters: tester $5, rig $6, panel models $7, started from $8 before $9,
-- arrangements $10, states $11, within $14 km of ($12, $13) on a sphere of 6371 km.
SELECT s.id, s.revision, s.state, s.tester_id, s.started_at, s.ended_at, s.submitted_at, s.latitude_deg, s.longitude_deg,
  (SELECT count(*) FROM reading AS r WHERE r.session_id = s.id AND r.session_revision = s.revision),
  (SELECT count(*) FROM reading AS r WHERE r.session_id = s.id AND r.session_revision = s.revision AND r.state = 'held'),
  s.panel_models, s.sequence
FROM session AS s
WHERE s.sequence <= LEAST($2::bigint, $3::bigint) AND (s.superseded_sequence IS NULL OR s.superseded_sequence > $2 OR 'superseded' = ANY ($11::text[]))
  AND ($3 IS NULL OR (s.sequence, s.id) < ($3, $4::text::uuid))
  AND ($5::uuid IS NULL OR s.tester_id = $5)
  AND ($6::uuid IS NULL OR s.rig_id = $6)
  AND ($7::text[] IS NULL OR s.panel_models && $7)
  AND ($8::timestamptz IS NULL OR s.started_at >= $8)
  AND ($9::timestamptz IS NULL OR s.started_at < $9)
  AND ($10::text[] IS NULL OR EXISTS (
    SELECT FROM reading AS r
    WHERE r.session_id = s.id AND r.session_revision = s.revision AND r.arrangement = ANY ($10)))
  AND ($11 IS NULL OR s.state = ANY ($11))
  AND ($12::float8 IS NULL OR 2 * 6371 * asin(least(1, sqrt(
    sin(radians(s.latitude_deg - $12) / 2) ^ 2
    + cos(radians($12)) * cos(radians(s.latitude_deg)) * sin(radians(s.longitude_deg - $13::float8) / 2) ^ 2))) <= $14::float8)
ORDER BY s.sequence DESC, s.id DESC
LIMIT $1;
