-- What was learned of each station over weeks, apart from the snapshots: protobuf that every later version reads. The
-- newest only, written with the commit whose position it belongs to.
CREATE TABLE learned (
  station  INTEGER PRIMARY KEY REFERENCES stations (id),
  position INTEGER NOT NULL, -- of the log, up to which it was learned; 0: before all that the log holds
  at       INTEGER NOT NULL, -- newest step of the station, ns
  checksum BLOB NOT NULL,
  blob     BLOB NOT NULL
) STRICT;
