-- What waits to be exported, in the order of the commits: a row a minute or transition.
-- Numbers are never given twice and have no gaps, so that a cursor says what is left.
CREATE TABLE export_queue (
  seq            INTEGER PRIMARY KEY AUTOINCREMENT,
  minute_of      INTEGER, -- of stations; NULL: a transition
  minute_start   INTEGER,
  minute_segment INTEGER,
  transition     INTEGER, -- seq of transitions; NULL: a minute
  queued         INTEGER NOT NULL DEFAULT (unixepoch()) -- s, this machine's clock
) STRICT;

-- How far each exporter has come: it is done with all rows up to seq.
CREATE TABLE export_cursors (
  exporter TEXT PRIMARY KEY,
  seq      INTEGER NOT NULL
) STRICT;
