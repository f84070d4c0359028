-- 000005_price.up.sql: what a panel model cost somewhere on a day. Money is exact, so
-- numeric. Rows live for ever; rankings take the newest price as new.
SET LOCAL lock_timeout = '5s';

CREATE TABLE price (
  id             uuid PRIMARY KEY,
  panel_model_id uuid NOT NULL REFERENCES panel_model (id),
  tester_id      uuid NOT NULL,
  amount         numeric(14, 4) NOT NULL CHECK (amount > 0),
  currency       text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'), -- ISO 4217
  priced_on      date NOT NULL,
  region         text NOT NULL CHECK (region ~ '^([A-Z]{2})?$'), -- ISO 3166-1 alpha-2, empty: not given
  condition      text NOT NULL CHECK (condition IN ('new', 'used', 'refurbished')),
  created_at     timestamptz NOT NULL,
  sequence       bigint NOT NULL CHECK (sequence > 0)
);
CREATE INDEX price_panel_model ON price (panel_model_id, priced_on, id);
