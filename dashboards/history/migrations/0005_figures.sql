-- The slow figures of a station as they stood at the end of each hour, SI units; only those
-- that were obtained within that hour. Kept as long as hours.
CREATE TABLE figures (
  station    INTEGER NOT NULL REFERENCES stations (id),
  start      INTEGER NOT NULL, -- of the hour, ns
  segment    INTEGER NOT NULL,
  figure     TEXT NOT NULL,    -- its name in conditions
  value      REAL NOT NULL,
  low        REAL,             -- 90 % interval; NULL where none is stated
  high       REAL,
  method     TEXT NOT NULL,
  confidence REAL,
  obtained   INTEGER NOT NULL, -- end of the window that it was obtained from, ns
  PRIMARY KEY (station, start, segment, figure)
) STRICT, WITHOUT ROWID;
