-- Whole minutes of a station without a sample: start to end (ns), half-open. They are no rows of minutes, in no hour, and in the
-- totals as blind time.
CREATE TABLE gaps (
  station  INTEGER NOT NULL REFERENCES stations (id),
  start    INTEGER NOT NULL,
  segment  INTEGER NOT NULL,
  revision INTEGER NOT NULL, -- of the engine
  "end"    INTEGER NOT NULL,
  PRIMARY KEY (station, start, segment)
) STRICT, WITHOUT ROWID;

-- Until now each such minute was a row, blind throughout, with no stroke and no air, as if that were known. Only hours that hold
-- a blind minute without a pressure are looked at. A station that has never shown a pressure is left alone: it is blind
-- for lack of sensors, and its counter's zeros are true. Where both pressure sensors were silent while a counter that stood
-- still was heard, zeros become unknown too: nothing that is stored tells the two apart.
CREATE TEMP TABLE sensed (station INTEGER PRIMARY KEY);
INSERT INTO sensed SELECT id FROM stations WHERE EXISTS (SELECT 1 FROM hours h WHERE h.station = id AND h.inlet_time + h.outlet_time > 0);

CREATE TEMP TABLE suspect (station INTEGER, start INTEGER, segment INTEGER, PRIMARY KEY (station, start, segment)) WITHOUT ROWID;
INSERT INTO suspect SELECT station, start, segment FROM hours JOIN sensed USING (station)
WHERE blind >= 60000000000 AND covered - max(inlet_time, outlet_time) >= 60000000000;

CREATE TEMP TABLE unseen (station INTEGER, start INTEGER, segment INTEGER, revision INTEGER, PRIMARY KEY (station, segment, start)) WITHOUT ROWID;
INSERT INTO unseen SELECT m.station, m.start, m.segment, m.revision
FROM suspect s CROSS JOIN minutes m ON m.station = s.station AND m.start >= s.start AND m.start < s.start + 3600000000000 AND m.segment = s.segment
WHERE m.blind = 60000000000 AND m.covered = 60000000000 AND m.strokes = 0 AND m.inlet_mean IS NULL AND m.outlet_mean IS NULL;

-- Runs of such minutes are gaps: a minute's start less its rank times a minute is the same throughout a run.
INSERT INTO gaps (station, start, segment, revision, "end")
SELECT station, min(start), segment, max(revision), max(start) + 60000000000
FROM (SELECT *, start - 60000000000 * row_number() OVER (PARTITION BY station, segment ORDER BY start) AS run FROM unseen)
GROUP BY station, segment, run;

DELETE FROM minutes WHERE (station, start, segment) IN (SELECT station, start, segment FROM unseen);

-- The hours that they were in are summed up anew from what is left, as Hour.add does. Hours go by themselves
-- where nothing is left. An hour whose minutes were deleted with age keeps its sums, and says of how many minutes it knows
-- nothing; one of those only goes.
DELETE FROM hours WHERE (station, start, segment) IN (SELECT DISTINCT station, start - start % 3600000000000, segment FROM unseen);

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
FROM (SELECT m.*, m.leak_method <> 'none' AND m.leak_reason IS NULL
  AND coalesce(abs(m.leak) < 1e3 AND abs(m.leak_low) < 1e3 AND abs(m.leak_high) < 1e3, 0) AS known
  FROM (SELECT DISTINCT station, start - start % 3600000000000 AS start, segment FROM unseen) h
  CROSS JOIN minutes m ON m.station = h.station AND m.start >= h.start AND m.start < h.start + 3600000000000 AND m.segment = h.segment)
GROUP BY station, start - start % 3600000000000, segment;

DELETE FROM suspect WHERE EXISTS (SELECT 1 FROM minutes m
  WHERE m.station = suspect.station AND m.start >= suspect.start AND m.start < suspect.start + 3600000000000 AND m.segment = suspect.segment);
DELETE FROM hours WHERE (station, start, segment) IN (SELECT station, start, segment FROM suspect)
  AND blind = covered AND strokes = 0 AND inlet_time = 0 AND outlet_time = 0;
UPDATE hours SET
  uncounted = max(uncounted, (covered - max(inlet_time, outlet_time)) / 60000000000),
  airless = max(airless, (covered - max(inlet_time, outlet_time)) / 60000000000)
WHERE (station, start, segment) IN (SELECT station, start, segment FROM suspect);

DROP TABLE sensed;
DROP TABLE suspect;
DROP TABLE unseen;
