-- Times are nanoseconds since the Unix epoch, UTC. Pressures are Pa gauge. Volumes of
-- air are whole microlitres at ANR; where air_reason is set they are lower bounds and
-- the air is unknown. Where stroke_method is 'none' the strokes are unknown.

CREATE TABLE stations (
  id      INTEGER PRIMARY KEY,
  site    TEXT NOT NULL,
  station TEXT NOT NULL,
  UNIQUE (site, station)
) STRICT;

CREATE TABLE positions (
  partition INTEGER PRIMARY KEY,
  position  INTEGER NOT NULL
) STRICT;

CREATE TABLE minutes (
  station         INTEGER NOT NULL REFERENCES stations (id),
  start           INTEGER NOT NULL,
  segment         INTEGER NOT NULL,
  revision        INTEGER NOT NULL, -- of the engine
  covered         INTEGER NOT NULL, -- ns
  blind           INTEGER NOT NULL, -- ns in each state
  "off"           INTEGER NOT NULL,
  charging        INTEGER NOT NULL,
  stroking        INTEGER NOT NULL,
  holding         INTEGER NOT NULL,
  starved         INTEGER NOT NULL,
  venting         INTEGER NOT NULL,
  residual        INTEGER NOT NULL,
  strokes         INTEGER NOT NULL,
  stroke_method   TEXT NOT NULL,
  inlet           INTEGER NOT NULL,
  exhaust         INTEGER NOT NULL,
  delivered       INTEGER NOT NULL,
  inlet_low       INTEGER NOT NULL,
  inlet_high      INTEGER NOT NULL,
  delivered_low   INTEGER NOT NULL,
  delivered_high  INTEGER NOT NULL,
  air_reason      TEXT,
  inlet_mean      REAL,
  outlet_mean     REAL,
  outlet_max      REAL,
  leak            REAL, -- m³/s ANR
  leak_low        REAL,
  leak_high       REAL,
  leak_method     TEXT NOT NULL,
  leak_confidence REAL,
  leak_at         INTEGER NOT NULL,
  leak_reason     TEXT,
  PRIMARY KEY (station, start, segment)
) STRICT, WITHOUT ROWID;

CREATE TABLE intervals (
  station  INTEGER NOT NULL REFERENCES stations (id),
  start    INTEGER NOT NULL,
  segment  INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  "end"    INTEGER NOT NULL,
  state    TEXT NOT NULL,
  PRIMARY KEY (station, start, segment)
) STRICT, WITHOUT ROWID;

CREATE TABLE totals (
  station   INTEGER PRIMARY KEY REFERENCES stations (id),
  strokes   INTEGER NOT NULL,
  blind     INTEGER NOT NULL,
  "off"     INTEGER NOT NULL,
  charging  INTEGER NOT NULL,
  stroking  INTEGER NOT NULL,
  holding   INTEGER NOT NULL,
  starved   INTEGER NOT NULL,
  venting   INTEGER NOT NULL,
  residual  INTEGER NOT NULL,
  inlet     INTEGER NOT NULL,
  exhaust   INTEGER NOT NULL,
  delivered INTEGER NOT NULL
) STRICT;

CREATE TABLE transitions (
  seq        INTEGER PRIMARY KEY AUTOINCREMENT, -- order of the log within a station
  id         TEXT NOT NULL UNIQUE,
  station    INTEGER NOT NULL REFERENCES stations (id),
  branch     TEXT NOT NULL,
  alarm      TEXT NOT NULL,
  priority   TEXT NOT NULL,
  from_state TEXT NOT NULL,
  to_state   TEXT NOT NULL,
  at         INTEGER NOT NULL,
  raised     INTEGER NOT NULL,
  message    TEXT NOT NULL,
  caution    TEXT NOT NULL,
  evidence   TEXT NOT NULL -- JSON
) STRICT;
CREATE INDEX transitions_by_alarm ON transitions (station, alarm, seq);
CREATE INDEX transitions_by_time ON transitions (at);

CREATE TABLE outbox (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  receiver   TEXT NOT NULL,
  transition INTEGER NOT NULL REFERENCES transitions (seq),
  station    INTEGER NOT NULL,
  alarm      TEXT NOT NULL,
  due        INTEGER NOT NULL DEFAULT 0,
  attempts   INTEGER NOT NULL DEFAULT 0,
  last_error TEXT NOT NULL DEFAULT '',
  UNIQUE (receiver, transition)
) STRICT;
CREATE INDEX outbox_by_alarm ON outbox (receiver, station, alarm, id);

CREATE TABLE snapshots (
  partition INTEGER PRIMARY KEY,
  position  INTEGER NOT NULL,
  schema    TEXT NOT NULL,
  engine    TEXT NOT NULL,
  checksum  BLOB NOT NULL, -- SHA-256 over position, schema, engine and blob
  blob      BLOB NOT NULL
) STRICT;
