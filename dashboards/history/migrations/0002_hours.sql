-- Hours are the sums of their minutes, whole numbers only, so that they are the same in
-- whatever order minutes come in. Means are sums over time: pressure times time in Pa*ms,
-- leak times time in microlitres at ANR, each beside the time (ns) over which it is known.

CREATE TABLE hours (
  station        INTEGER NOT NULL REFERENCES stations (id),
  start          INTEGER NOT NULL,
  segment        INTEGER NOT NULL,
  minutes        INTEGER NOT NULL, -- how many are in
  revision       INTEGER NOT NULL, -- of the engine, the newest
  covered        INTEGER NOT NULL, -- ns
  blind          INTEGER NOT NULL, -- ns in each state
  "off"          INTEGER NOT NULL,
  charging       INTEGER NOT NULL,
  stroking       INTEGER NOT NULL,
  holding        INTEGER NOT NULL,
  starved        INTEGER NOT NULL,
  venting        INTEGER NOT NULL,
  residual       INTEGER NOT NULL,
  strokes        INTEGER NOT NULL,
  uncounted      INTEGER NOT NULL, -- minutes whose strokes are unknown
  traced         INTEGER NOT NULL, -- minutes whose strokes are known from the traces alone
  airless        INTEGER NOT NULL, -- minutes whose air is unknown: then the air is a lower bound
  inlet          INTEGER NOT NULL,
  exhaust        INTEGER NOT NULL,
  delivered      INTEGER NOT NULL,
  inlet_low      INTEGER NOT NULL,
  inlet_high     INTEGER NOT NULL,
  delivered_low  INTEGER NOT NULL,
  delivered_high INTEGER NOT NULL,
  inlet_time     INTEGER NOT NULL, -- ns
  inlet_sum      INTEGER NOT NULL, -- Pa*ms
  outlet_time    INTEGER NOT NULL,
  outlet_sum     INTEGER NOT NULL,
  outlet_max     REAL,             -- Pa
  leak_time      INTEGER NOT NULL, -- ns
  leak_sum       INTEGER NOT NULL, -- microlitres
  leak_low       INTEGER NOT NULL,
  leak_high      INTEGER NOT NULL,
  PRIMARY KEY (station, start, segment)
) STRICT, WITHOUT ROWID;

-- What is stored already, summed up as the program does (Hour.add).
INSERT INTO hours
SELECT station, start - start % 3600000000000, segment, count(*), max(revision), sum(covered),
  sum(blind), sum("off"), sum(charging), sum(stroking), sum(holding), sum(starved), sum(venting), sum(residual),
  sum(strokes), sum(stroke_method = 'none'), sum(stroke_method = 'traces'), sum(air_reason IS NOT NULL),
  sum(inlet), sum(exhaust), sum(delivered), sum(inlet_low), sum(inlet_high), sum(delivered_low), sum(delivered_high),
  sum(iif(abs(inlet_mean) < 1e11, covered, 0)), sum(iif(abs(inlet_mean) < 1e11, CAST(inlet_mean * (covered * 1e-6) AS INTEGER), 0)),
  sum(iif(abs(outlet_mean) < 1e11, covered, 0)), sum(iif(abs(outlet_mean) < 1e11, CAST(outlet_mean * (covered * 1e-6) AS INTEGER), 0)),
  max(iif(abs(outlet_max) < 1e11, outlet_max, NULL)),
  sum(iif(known, covered, 0)), sum(iif(known, CAST(leak * covered AS INTEGER), 0)),
  sum(iif(known, CAST(leak_low * covered AS INTEGER), 0)), sum(iif(known, CAST(leak_high * covered AS INTEGER), 0))
FROM (SELECT *, leak_method <> 'none' AND leak_reason IS NULL
  AND coalesce(abs(leak) < 1e3 AND abs(leak_low) < 1e3 AND abs(leak_high) < 1e3, 0) AS known FROM minutes)
GROUP BY station, start - start % 3600000000000, segment;

-- What people say of a station.
CREATE TABLE notes (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  station INTEGER NOT NULL REFERENCES stations (id),
  at      INTEGER NOT NULL, -- the time it is about
  who     TEXT NOT NULL,
  text    TEXT NOT NULL
) STRICT;
CREATE INDEX notes_by_time ON notes (station, at);

-- What people and the program did to the history and to alarms. Kept for ever.
CREATE TABLE audit (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  at     INTEGER NOT NULL,
  who    TEXT NOT NULL,
  what   TEXT NOT NULL,
  target TEXT NOT NULL,
  detail TEXT NOT NULL
) STRICT;
CREATE INDEX audit_by_time ON audit (at);

-- The sample log that the positions count in, and what a restore left to do.
CREATE TABLE lineage (
  one      INTEGER PRIMARY KEY CHECK (one = 1),
  log      TEXT NOT NULL,    -- the log's identity, '' before the first start with one
  restored TEXT NOT NULL     -- what was restored, '' once a start has gone on from it
) STRICT;
INSERT INTO lineage VALUES (1, '', '');

-- After a restore onto another log: intervals of this segment that begin before until
-- overlap what was stored already.
CREATE TABLE resumed (
  station INTEGER PRIMARY KEY REFERENCES stations (id),
  segment INTEGER NOT NULL,
  until   INTEGER NOT NULL
) STRICT;

-- Old transitions are looked up in the outbox before they are deleted.
CREATE INDEX outbox_by_transition ON outbox (transition);
