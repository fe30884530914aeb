-- A database of schema version 9, with data: that of version 7, brought up by the migrations 8 and 9.
PRAGMA application_id = 1398229065;
BEGIN TRANSACTION;
CREATE TABLE audit (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  at     INTEGER NOT NULL,
  who    TEXT NOT NULL,
  what   TEXT NOT NULL,
  target TEXT NOT NULL,
  detail TEXT NOT NULL
, outcome TEXT NOT NULL DEFAULT '', reason TEXT NOT NULL DEFAULT '', until INTEGER NOT NULL DEFAULT 0, cause TEXT NOT NULL DEFAULT '', service TEXT NOT NULL DEFAULT '', date TEXT NOT NULL DEFAULT '', document TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "audit" VALUES(1,1767225601000000000,'Ana','vented','northdock/press-4','gauge reads 0','refused','cannot vented "": the outlet still reads 878 kPa gauge: vent it, then look at the local gauge again',0,'','','','');
INSERT INTO "audit" VALUES(2,1767225602000000000,'Ana','close','northdock/press-4 outlet-leak','clamp tightened','refused','cannot close "outlet-leak": its condition is still present',0,'leak','','','');
INSERT INTO "audit" VALUES(3,1767225603000000000,'Ana','unshelve','northdock/press-4 outlet-leak','','refused','cannot unshelve "outlet-leak": it is normal, not shelved',0,'','','','');
INSERT INTO "audit" VALUES(4,1767225604000000000,'Ana','inspected','northdock/press-4','','','',0,'','','','sheet 12 (no effect: see page 2)');
INSERT INTO "audit" VALUES(5,1767225605000000000,'Ana','done','northdock/press-4','relief-test 2026-01-10 sheet 9','no effect','cannot record relief-test of 2026-01-10: it was done on 2026-01-10 already',0,'','','','');
INSERT INTO "audit" VALUES(6,1767225606000000000,'Ana','note','northdock/gone-1','x','refused','the station is not configured',0,'','','','');
INSERT INTO "audit" VALUES(7,1767225607000000000,'Ana','note','northdock/press-4','hose changed','','',0,'','','','');
CREATE TABLE export_cursors (
  exporter TEXT PRIMARY KEY,
  seq      INTEGER NOT NULL
) STRICT;
INSERT INTO "export_cursors" VALUES('influx',0);
CREATE TABLE export_queue (
  seq            INTEGER PRIMARY KEY AUTOINCREMENT,
  minute_of      INTEGER, -- of stations; NULL: a transition
  minute_start   INTEGER,
  minute_segment INTEGER,
  transition     INTEGER, -- seq of transitions; NULL: a minute
  queued         INTEGER NOT NULL DEFAULT (unixepoch()), -- s, this machine's clock
  figure         TEXT
) STRICT;
INSERT INTO "export_queue" VALUES(1,NULL,NULL,NULL,2,1767225700,NULL);
INSERT INTO "export_queue" VALUES(2,1,1767225600000000000,3,NULL,1795671838,NULL);
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
INSERT INTO "figures" VALUES(1,1767225600000000000,3,'supply_sag',0.12,0.1,0.14,'traces',0.8,1767229199000000000);
CREATE TABLE header_inputs (
  seq        INTEGER PRIMARY KEY AUTOINCREMENT,
  header     INTEGER NOT NULL REFERENCES stations (id),
  station    INTEGER NOT NULL REFERENCES stations (id), -- the header itself: a person's word
  at         INTEGER NOT NULL,
  transition INTEGER, -- seq of transitions; NULL: data
  data       TEXT     -- JSON: a change of the feed, or a command
) STRICT;
CREATE TABLE header_states (
  header  INTEGER PRIMARY KEY REFERENCES stations (id),
  version TEXT NOT NULL,
  state   BLOB NOT NULL
) STRICT;
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
INSERT INTO "hours" VALUES(1,1767225600000000000,3,2,7,119500000000,0,0,0,80000000000,40000000000,0,0,0,121,0,1,0,10,6,4,8,12,2,6,119500000000,70930845673,119500000000,105189875000,910000.0,119500000000,133456320,107550000,131450000);
INSERT INTO "hours" VALUES(1,1767225600000000000,4,1,7,60000000000,0,0,0,40000000000,20000000000,0,0,0,62,0,0,0,5,3,2,4,6,1,3,60000000000,35640000000,60000000000,52815000000,900000.0,60000000000,60000000,54000000,66000000);
INSERT INTO "hours" VALUES(1,1767229200000000000,3,1,7,60000000000,0,0,0,40000000000,20000000000,0,0,0,130,1,0,1,5,3,2,4,6,1,3,0,0,60000000000,52815000000,NULL,0,0,0,0);
CREATE TABLE intervals (
  station  INTEGER NOT NULL REFERENCES stations (id),
  start    INTEGER NOT NULL,
  segment  INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  "end"    INTEGER NOT NULL,
  state    TEXT NOT NULL,
  PRIMARY KEY (station, start, segment)
) STRICT, WITHOUT ROWID;
INSERT INTO "intervals" VALUES(1,1767225600000000010,3,7,1767225600000000015,'stroking');
INSERT INTO "intervals" VALUES(1,1767225600000000012,3,7,1767225600000000017,'stroking');
INSERT INTO "intervals" VALUES(1,1767225600000000013,3,7,1767225600000000018,'stroking');
CREATE TABLE lineage (
  one      INTEGER PRIMARY KEY CHECK (one = 1),
  log      TEXT NOT NULL,    -- the log's identity, '' before the first start with one
  restored TEXT NOT NULL     -- what was restored, '' once a start has gone on from it
) STRICT;
INSERT INTO "lineage" VALUES(1,'','');
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
INSERT INTO "minutes" VALUES(1,1767225600000000000,3,7,60000000000,0,0,0,40000000000,20000000000,0,0,0,60,'both',5,3,2,4,6,1,3,NULL,594000.0,880250.0,900000.0,0.001,0.0009,0.0011,'decay',0.8,1767225600000000000,NULL);
INSERT INTO "minutes" VALUES(1,1767225660000000000,3,7,59500000000,0,0,0,40000000000,20000000000,0,0,0,61,'traces',5,3,2,4,6,1,3,NULL,593123.4567,880250.0,910000.0,0.00123456,0.0009,0.0011,'decay',0.8,1767225600000000000,NULL);
INSERT INTO "minutes" VALUES(1,1767225720000000000,4,7,60000000000,0,0,0,40000000000,20000000000,0,0,0,62,'both',5,3,2,4,6,1,3,NULL,594000.0,880250.0,900000.0,0.001,0.0009,0.0011,'decay',0.8,1767225600000000000,NULL);
INSERT INTO "minutes" VALUES(1,1767229800000000000,3,7,60000000000,0,0,0,40000000000,20000000000,0,0,0,130,'none',5,3,2,4,6,1,3,'no counter',NULL,880250.0,NULL,NULL,NULL,NULL,'none',NULL,0,'no quiet window');
CREATE TABLE notes (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  station INTEGER NOT NULL REFERENCES stations (id),
  at      INTEGER NOT NULL, -- the time it is about
  who     TEXT NOT NULL,
  text    TEXT NOT NULL
, outcome TEXT NOT NULL DEFAULT '', reason TEXT NOT NULL DEFAULT '', service TEXT NOT NULL DEFAULT '', date TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "notes" VALUES(1,1,1767225600000000000,'jo','new seals','','','seals','');
INSERT INTO "notes" VALUES(2,1,1767225601000000000,'Ana','Vented, a person''s word: gauge reads 0','refused','cannot vented "": the outlet still reads 878 kPa gauge: vent it, then look at the local gauge again','','');
INSERT INTO "notes" VALUES(3,1,1767225602000000000,'Ana','Alarm outlet-leak: leak: clamp tightened','refused','cannot close "outlet-leak": its condition is still present','','');
INSERT INTO "notes" VALUES(4,1,1767225604000000000,'Ana','Inspection done, document sheet 12 (no effect: see page 2)','','','','');
INSERT INTO "notes" VALUES(5,1,1767225605000000000,'Ana','Done on 2026-01-10: relief test, document sheet 9','no effect','cannot record relief-test of 2026-01-10: it was done on 2026-01-10 already','','');
INSERT INTO "notes" VALUES(6,1,1767225607000000000,'Ana','hose changed','','','','');
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
INSERT INTO "outbox" VALUES(1,'phone',1,1,'pressure-left',0,0,'');
INSERT INTO "outbox" VALUES(2,'phone',2,1,'outlet-leak',0,0,'');
INSERT INTO "outbox" VALUES(3,'phone',3,1,'outlet-leak',0,0,'');
CREATE TABLE positions (
  partition INTEGER PRIMARY KEY,
  position  INTEGER NOT NULL
) STRICT;
INSERT INTO "positions" VALUES(5,13);
CREATE TABLE resumed (
  station INTEGER PRIMARY KEY REFERENCES stations (id),
  segment INTEGER NOT NULL,
  until   INTEGER NOT NULL
) STRICT;
CREATE TABLE schema_version (version INTEGER NOT NULL) STRICT;
INSERT INTO "schema_version" VALUES(9);
CREATE TABLE snapshots (
  partition INTEGER PRIMARY KEY,
  position  INTEGER NOT NULL,
  schema    TEXT NOT NULL,
  engine    TEXT NOT NULL,
  checksum  BLOB NOT NULL, -- SHA-256 over position, schema, engine and blob
  blob      BLOB NOT NULL
) STRICT;
INSERT INTO "snapshots" VALUES(5,12,'1/1','1',X'ABF81B3B94F30D0E8D6DB21884BBD2F889F6A7DDC944A69B6F4756ED349693EE',X'010203');
CREATE TABLE stations (
  id      INTEGER PRIMARY KEY,
  site    TEXT NOT NULL,
  station TEXT NOT NULL,
  UNIQUE (site, station)
) STRICT;
INSERT INTO "stations" VALUES(1,'northdock','press-4');
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
INSERT INTO "totals" VALUES(1,313,0,0,0,160000000000,80000000000,0,0,0,20,12,8);
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
, by TEXT NOT NULL DEFAULT '', why TEXT NOT NULL DEFAULT '', explained TEXT NOT NULL DEFAULT '', cause TEXT NOT NULL DEFAULT '', shelved_until INTEGER NOT NULL DEFAULT 0, shelved_once INTEGER NOT NULL DEFAULT 0, trigger TEXT NOT NULL DEFAULT '', first TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "transitions" VALUES(1,'northdock/press-4/pressure-left/1767225600000000000/1',1,'forming','pressure-left','high','normal','unacknowledged',1767225600000000000,1767225600000000000,'m','c','[{"name":"outlet_pressure","value":900000,"unit":"Pa gauge"},{"name":"told_by","value":0,"text":"valve"}]','','','','',0,0,'','');
INSERT INTO "transitions" VALUES(2,'northdock/press-4/outlet-leak/1767225600000000000/1',1,'forming','outlet-leak','high','normal','unacknowledged',1767225609000000000,1767225600000000000,'m','c','[{"name":"outlet_pressure","value":900000,"unit":"Pa gauge"},{"name":"told_by","value":0,"text":"valve"}]','','','','',0,0,'','');
INSERT INTO "transitions" VALUES(3,'northdock/press-4/outlet-leak/1767225600000000000/4/1767225604000000000',1,'forming','outlet-leak','high','unacknowledged','shelved',1767225604000000000,1767225600000000000,'m','c','[{"name":"outlet_pressure","value":900000,"unit":"Pa gauge"},{"name":"told_by","value":0,"text":"valve"}]','Ada','fitter ordered','','',0,0,'','');
CREATE INDEX transitions_by_alarm ON transitions (station, alarm, seq);
CREATE INDEX transitions_by_time ON transitions (at);
CREATE INDEX outbox_by_alarm ON outbox (receiver, station, alarm, id);
CREATE INDEX notes_by_time ON notes (station, at);
CREATE INDEX audit_by_time ON audit (at);
CREATE INDEX outbox_by_transition ON outbox (transition);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('transitions',3);
INSERT INTO "sqlite_sequence" VALUES('outbox',3);
INSERT INTO "sqlite_sequence" VALUES('export_queue',2);
INSERT INTO "sqlite_sequence" VALUES('notes',6);
INSERT INTO "sqlite_sequence" VALUES('audit',7);
COMMIT;
