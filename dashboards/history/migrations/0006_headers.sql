-- The alarm of a header that people are told of instead of this one; empty: of this one.
ALTER TABLE transitions ADD COLUMN explained TEXT NOT NULL DEFAULT '';

-- What the alarms of headers are decided by, until it has been taken: stored with what a
-- partition concludes. A header has a row in stations, as header:<name>.
CREATE TABLE header_inputs (
  seq        INTEGER PRIMARY KEY AUTOINCREMENT,
  header     INTEGER NOT NULL REFERENCES stations (id),
  station    INTEGER NOT NULL REFERENCES stations (id), -- the header itself: a person's word
  at         INTEGER NOT NULL,
  transition INTEGER, -- seq of transitions; NULL: data
  data       TEXT     -- JSON: a change of the feed, or a command
) STRICT;

-- The state of each header's alarms after what has been taken.
CREATE TABLE header_states (
  header  INTEGER PRIMARY KEY REFERENCES stations (id),
  version TEXT NOT NULL,
  state   BLOB NOT NULL
) STRICT;
