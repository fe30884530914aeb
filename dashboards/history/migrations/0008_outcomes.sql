-- What became of a person's command, as rules.Result names it, and why where it was not done. '':
-- not decided yet, or stored before outcomes were.
ALTER TABLE audit ADD COLUMN outcome TEXT NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN reason TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN outcome TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN reason TEXT NOT NULL DEFAULT '';

-- Until now a refusal was written behind a person's words: "words (no effect: cannot vented
-- "pressure-left": ...)". Only what the program itself wrote so is taken for one: a person's
-- own words may hold the same beginning. The rest stays without an outcome.
UPDATE audit SET outcome = iif(mark = '(no effect: cannot record ', 'no effect', 'refused'),
  reason = substr(detail, instr(detail, mark) + 12, length(detail) - instr(detail, mark) - 12),
  detail = rtrim(substr(detail, 1, instr(detail, mark) - 1))
FROM (SELECT id AS of, CASE
    WHEN instr(detail, '(no effect: cannot ' || what || ' "') > 0 THEN '(no effect: cannot ' || what || ' "'
    WHEN what IN ('done', 'inspected') AND instr(detail, '(no effect: cannot record ') > 0 THEN '(no effect: cannot record '
    WHEN detail LIKE '%(no effect: the station is not configured)' THEN '(no effect: the station is not configured)'
  END AS mark FROM audit WHERE detail LIKE '%(no effect: %)')
WHERE id = of AND mark IS NOT NULL;

-- The note of a refused command bears the same time and name.
UPDATE notes SET outcome = a.outcome, reason = a.reason
FROM audit a, stations s
WHERE s.id = notes.station AND a.outcome <> '' AND a.at = notes.at AND a.who = notes.who
  AND (a.target = s.site || '/' || s.station OR substr(a.target, 1, length(s.site || '/' || s.station) + 1) = s.site || '/' || s.station || ' ');
