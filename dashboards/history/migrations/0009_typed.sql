-- What a command says beside a person's own words. until: ns, 0 where it has no end; cause, service:
-- their names; date: of what was done, as in 2026-01-10; document: its reference.
ALTER TABLE audit ADD COLUMN until INTEGER NOT NULL DEFAULT 0;
ALTER TABLE audit ADD COLUMN cause TEXT NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN service TEXT NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN date TEXT NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN document TEXT NOT NULL DEFAULT '';

-- The service that a note is about, and the day on which it was done.
ALTER TABLE notes ADD COLUMN service TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN date TEXT NOT NULL DEFAULT '';

-- The cause that a closing gave; until when an alarm is shelved (ns), and whether its condition's end
-- ends that; what ended a shelving by itself; the alarm that a raise followed within 30 s.
ALTER TABLE transitions ADD COLUMN cause TEXT NOT NULL DEFAULT '';
ALTER TABLE transitions ADD COLUMN shelved_until INTEGER NOT NULL DEFAULT 0;
ALTER TABLE transitions ADD COLUMN shelved_once INTEGER NOT NULL DEFAULT 0;
ALTER TABLE transitions ADD COLUMN shelf_end TEXT NOT NULL DEFAULT '';
ALTER TABLE transitions ADD COLUMN first TEXT NOT NULL DEFAULT '';

CREATE TEMP TABLE causes (name TEXT PRIMARY KEY);
INSERT INTO causes VALUES ('leak'), ('wear'), ('blockage'), ('supply'), ('setting'), ('use'), ('sensor'), ('planned work'), ('nothing found');
CREATE TEMP TABLE services (name TEXT PRIMARY KEY);
INSERT INTO services VALUES ('tank-inspection'), ('relief-test'), ('hose'), ('drain'), ('filter'), ('silencer'), ('sensor-calibration');

-- Until now all this stood within words, in forms that the program itself wrote. A closing is one
-- where the audit has it as such, with the same words.
UPDATE transitions SET cause = trim(substr(why, 1, instr(why, ':') - 1)), why = trim(substr(why, instr(why, ':') + 1))
WHERE by <> '' AND instr(why, ':') > 0 AND trim(substr(why, 1, instr(why, ':') - 1)) IN (SELECT name FROM causes)
  AND EXISTS (SELECT 1 FROM audit a JOIN stations s ON s.id = transitions.station
    WHERE a.what = 'close' AND a.who = transitions.by AND a.detail = transitions.why AND a.target = s.site || '/' || s.station || ' ' || transitions.alarm);
UPDATE transitions SET shelf_end = 'time over', why = '' WHERE by = '' AND from_state = 'shelved' AND why = 'the time of the shelving is over';
UPDATE transitions SET shelf_end = 'condition ended', why = '' WHERE by = '' AND from_state = 'shelved' AND why = 'shelved until the condition ended, which it did';
UPDATE transitions SET
  shelved_until = coalesce((SELECT unixepoch(text) * 1000000000 + iif(instr(text, '.') = 0, 0,
      CAST(substr(rtrim(substr(text, instr(text, '.') + 1), 'Z') || '000000000', 1, 9) AS INTEGER))
    FROM (SELECT json_extract(value, '$.text') AS text FROM json_each(evidence) WHERE json_extract(value, '$.name') = 'shelved_until')), 0),
  shelved_once = EXISTS (SELECT 1 FROM json_each(evidence) WHERE json_extract(value, '$.name') = 'shelved_for')
WHERE to_state = 'shelved';
UPDATE transitions SET first = coalesce((SELECT json_extract(value, '$.text') FROM json_each(evidence) WHERE json_extract(value, '$.name') = 'first'), '')
WHERE to_state = 'unacknowledged' AND instr(evidence, '"first"') > 0;

UPDATE audit SET until = unixepoch(substr(detail, 7, 20)) * 1000000000, detail = ltrim(substr(detail, 28))
WHERE what = 'shelve' AND detail LIKE 'until ____-__-__T__:__:__Z:%' AND unixepoch(substr(detail, 7, 20)) IS NOT NULL;
UPDATE audit SET cause = trim(substr(detail, 1, instr(detail, ':') - 1)), detail = trim(substr(detail, instr(detail, ':') + 1))
WHERE what = 'close' AND instr(detail, ':') > 0 AND trim(substr(detail, 1, instr(detail, ':') - 1)) IN (SELECT name FROM causes);
UPDATE audit SET document = detail, detail = '' WHERE what = 'inspected';
UPDATE audit SET service = substr(detail, 1, instr(detail, ' ') - 1), date = substr(detail, instr(detail, ' ') + 1, 10),
  document = trim(substr(detail, instr(detail, ': ') + 2)), detail = ''
WHERE what = 'done' AND substr(detail, 1, instr(detail, ' ') - 1) IN (SELECT name FROM services)
  AND substr(detail, instr(detail, ' ')) LIKE ' ____-__-__: _%' AND date(substr(detail, instr(detail, ' ') + 1, 10)) IS NOT NULL;

-- A note tells of the service that the audit has at the same time and name. Notes about work after which
-- figures begin anew were known by how they began.
UPDATE notes SET service = a.service, date = a.date
FROM audit a, stations s
WHERE s.id = notes.station AND a.what = 'done' AND a.service <> '' AND a.at = notes.at AND a.who = notes.who AND a.target = s.site || '/' || s.station;
UPDATE notes SET service = CASE
    WHEN lower(ltrim(text)) LIKE 'overhaul%' THEN 'overhaul'
    WHEN lower(ltrim(text)) LIKE 'seals changed%' OR lower(ltrim(text)) LIKE 'new seals%' THEN 'seals'
    WHEN lower(ltrim(text)) LIKE 'calibrat%' THEN 'sensor-calibration'
    WHEN lower(ltrim(text)) LIKE 'booster changed%' THEN 'booster'
    WHEN lower(ltrim(text)) LIKE 'sensor changed%' THEN 'sensor'
    ELSE '' END
WHERE service = '';

-- Closings of headers' alarms that are not worked off yet.
UPDATE header_inputs SET data = json_set(data, '$.Cause', trim(substr(data ->> '$.Note', 1, instr(data ->> '$.Note', ':') - 1)),
  '$.Note', trim(substr(data ->> '$.Note', instr(data ->> '$.Note', ':') + 1)))
WHERE data ->> '$.Kind' = 'close' AND instr(data ->> '$.Note', ':') > 0
  AND trim(substr(data ->> '$.Note', 1, instr(data ->> '$.Note', ':') - 1)) IN (SELECT name FROM causes);

DROP TABLE causes;
DROP TABLE services;
