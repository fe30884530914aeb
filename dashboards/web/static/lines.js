// A line is { step, t, low, high }: bins of time with their extremes; null is a break.

// merge puts newer bins into a line, in bins of the line's own length.
export function merge(line, more) {
  if (!line.t.length && more.step > line.step) line.step = more.step;
  const gap = 5 * usual(line);
  for (let i = 0; i < more.t.length; i++) {
    if (more.low[i] === null) continue;
    const t = Math.floor(more.t[i] / line.step + 1e-6) * line.step;
    const n = line.t.length;
    const last = n ? line.t[n - 1] : -Infinity;
    if (t > last + line.step / 2) {
      if (n && gap && t - last > gap) push(line, (t + last) / 2, null, null);
      push(line, t, more.low[i], more.high[i]);
    } else {
      widen(line, t, more.low[i], more.high[i]);
    }
  }
}

// usual gives the usual distance of the newest points, 0 while there are few.
function usual(line) {
  const n = line.t.length;
  if (n < 10) return 0;
  const gaps = line.t.slice(Math.max(0, n - 60)).map((t, i, all) => (i ? t - all[i - 1] : 0)).slice(1);
  gaps.sort((a, b) => a - b);
  return Math.max(gaps[gaps.length >> 1], line.step);
}

function push(line, t, low, high) {
  line.t.push(t);
  line.low.push(low);
  line.high.push(high);
}

// widen takes a bin that may be there already, or came late.
function widen(line, t, low, high) {
  let i = line.t.length - 1;
  while (i >= 0 && line.t[i] > t + line.step / 2) i--;
  if (i >= 0 && Math.abs(line.t[i] - t) < line.step / 2 && line.low[i] !== null) {
    line.low[i] = Math.min(line.low[i], low);
    line.high[i] = Math.max(line.high[i], high);
    return;
  }
  line.t.splice(i + 1, 0, t);
  line.low.splice(i + 1, 0, low);
  line.high.splice(i + 1, 0, high);
}

// trim forgets what lies before from.
export function trim(line, from) {
  let n = 0;
  while (n < line.t.length && line.t[n] < from) n++;
  if (n > 1) for (const column of [line.t, line.low, line.high]) column.splice(0, n - 1);
}

// newest gives a line's newest mean value, null where there is none.
export function newest(line) {
  for (let i = line.t.length - 1; i >= 0; i--) if (line.low[i] !== null) return (line.low[i] + line.high[i]) / 2;
  return null;
}
