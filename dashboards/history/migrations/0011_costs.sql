-- What the air of a minute took and cost, at the tariff that was in force when it started. Written with the minute and
-- never worked out again. NULL is not known: unknown air, no rates, or a minute from before this version.
ALTER TABLE minutes ADD COLUMN energy INTEGER;   -- mJ
ALTER TABLE minutes ADD COLUMN money INTEGER;    -- 1e-6 of the currency
ALTER TABLE minutes ADD COLUMN currency TEXT;    -- three letters
ALTER TABLE minutes ADD COLUMN carbon INTEGER;   -- carbon dioxide, micrograms

-- Sums of the minutes whose energy is known, a row for each currency; '' where the price is not known. What an hour has
-- minutes for and no row here is not known. Kept as long as hours.
CREATE TABLE hour_costs (
  station        INTEGER NOT NULL REFERENCES stations (id),
  start          INTEGER NOT NULL,
  segment        INTEGER NOT NULL,
  currency       TEXT NOT NULL,
  minutes        INTEGER NOT NULL,
  inlet          INTEGER NOT NULL, -- microlitres that they drew
  energy         INTEGER NOT NULL, -- mJ
  money          INTEGER NOT NULL, -- 1e-6 of the currency
  carbon_minutes INTEGER NOT NULL, -- of them, those whose carbon dioxide is known
  carbon         INTEGER NOT NULL, -- micrograms
  PRIMARY KEY (station, start, segment, currency)
) STRICT, WITHOUT ROWID;

-- The same over all minutes that were counted in totals since this version began to keep them.
CREATE TABLE total_costs (
  station        INTEGER NOT NULL REFERENCES stations (id),
  currency       TEXT NOT NULL,
  minutes        INTEGER NOT NULL,
  inlet          INTEGER NOT NULL,
  energy         INTEGER NOT NULL,
  money          INTEGER NOT NULL,
  carbon_minutes INTEGER NOT NULL,
  carbon         INTEGER NOT NULL,
  PRIMARY KEY (station, currency)
) STRICT, WITHOUT ROWID;
