-- 000020_ranking_detail.up.sql: what a panel model's places in the rankings rest on, one
-- row a panel model and measure. Replaced with the ranking in one transaction.
SET LOCAL lock_timeout = '5s';

CREATE TABLE ranking_detail (
  panel_model      text NOT NULL,
  measure          text NOT NULL,
  key              text NOT NULL,
  computed_through bigint NOT NULL CHECK (computed_through >= 0),
  sha256           text NOT NULL,
  body             bytea NOT NULL,
  PRIMARY KEY (panel_model, measure, key)
);
CREATE INDEX ranking_detail_measure ON ranking_detail (measure, key);
