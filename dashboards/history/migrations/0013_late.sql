-- Samples that come late, and what they change.

-- States of a station's engine to work late samples off from: each from just before a silence was passed over.
CREATE TABLE points (
  station  INTEGER NOT NULL REFERENCES stations (id),
  position INTEGER NOT NULL, -- entry of the log that is not in the state yet
  record   INTEGER NOT NULL, -- the first record of the entry that is not
  floor    INTEGER NOT NULL, -- samples from here on (ns) are not in the state
  segment  INTEGER NOT NULL,
  version  TEXT NOT NULL,
  checksum BLOB NOT NULL,
  state    BLOB NOT NULL,
  PRIMARY KEY (station, position, record)
) STRICT;

-- Silences of a pressure after which the station was analysed without it: start to end (ns), end 0 while it lasts.
CREATE TABLE holes (
  station INTEGER NOT NULL REFERENCES stations (id),
  channel TEXT NOT NULL,
  start   INTEGER NOT NULL,
  "end"   INTEGER NOT NULL,
  PRIMARY KEY (station, channel, start)
) STRICT, WITHOUT ROWID;

-- Records of the log with samples that came too late for the analysis and lie in a hole.
CREATE TABLE late (
  station  INTEGER NOT NULL REFERENCES stations (id),
  position INTEGER NOT NULL,
  record   INTEGER NOT NULL,
  first    INTEGER NOT NULL, -- time of its oldest sample, ns
  last     INTEGER NOT NULL, -- and of its newest
  since    INTEGER NOT NULL, -- start of the hole
  arrival  INTEGER NOT NULL, -- ns
  samples  INTEGER NOT NULL, -- in a hole
  done     INTEGER NOT NULL, -- 1: the minutes that it touches are rebuilt, or cannot be
  PRIMARY KEY (station, position, record)
) STRICT, WITHOUT ROWID;
CREATE INDEX late_waiting ON late (station) WHERE done = 0;

-- What sums of a station had reached before a rebuilding made them smaller: counters that are shown never fall. JSON.
CREATE TABLE ceilings (
  station INTEGER PRIMARY KEY REFERENCES stations (id),
  counted TEXT NOT NULL
) STRICT;

ALTER TABLE minutes ADD COLUMN revised INTEGER; -- Unix time, s, at which late samples rebuilt it; NULL: as it was concluded at first
ALTER TABLE hours ADD COLUMN revised INTEGER NOT NULL DEFAULT 0; -- how many of its minutes are
