// Draws a station's inlet and outlet over a span of time, with strokes and states.
import uPlot from "./uplot/uPlot.esm.js";
import { merge, newest, trim } from "./lines.js";
import { marks, band } from "./states.js";

const liveSpan = 7200; // s; longer charts are fetched again instead
const slow = 60000; // ms between fetches of those
const smooth = 300; // s; up to this span the chart moves on between messages
const ahead = 1.5; // s by which it moves on at most
const spoken = 5000; // ms between changes of what a screen reader hears

export class Chart {
  constructor(box, url) {
    this.box = box;
    this.url = url;
    this.span = Number(box.dataset.span);
    this.unit = box.dataset.unit;
    this.perKPa = Number(box.dataset.perKpa); // units in a kPa: data come in kPa
    this.places = Number(box.dataset.places);
    this.data = null;
    this.said = 0;
    this.loading = false;
    this.fetched = 0;
    this.came = 0; // when the newest time came
    if (this.span <= smooth && !matchMedia("(prefers-reduced-motion: reduce)").matches) {
      setInterval(() => this.slide(), this.span < 60 ? 100 : 300);
    }
    new ResizeObserver(() => this.plot?.setSize(this.size())).observe(box);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.rebuild());
  }

  // load fetches the whole span.
  async load() {
    if (this.loading || (this.span > liveSpan && Date.now() - this.fetched < slow)) return;
    this.loading = true;
    try {
      const answer = await fetch(`${this.url}?span=${this.span}`, { cache: "no-store", signal: AbortSignal.timeout(15000) });
      if (!answer.ok) throw new Error(`traces: status ${answer.status}`);
      this.data = await answer.json();
      this.fetched = Date.now();
    } finally {
      this.loading = false;
    }
    const note = document.getElementById("note");
    note.textContent = this.data.note;
    note.hidden = !this.data.note;
    this.draw();
  }

  // add takes what came since.
  add(more) {
    const d = this.data;
    if (!d) return;
    if (this.span > liveSpan || more.restarted) {
      this.load().catch(() => {}); // the next look tells
      return;
    }
    merge(d.inlet, more.inlet);
    merge(d.outlet, more.outlet);
    if (more.now > d.now) this.came = performance.now();
    d.now = more.now;
    d.from = d.now - this.span;
    trim(d.inlet, d.from);
    trim(d.outlet, d.from);
    d.strokes = fresh(d.strokes, more.strokes, 0).filter((s) => s[0] >= d.from);
    d.intervals = fresh(d.intervals, more.intervals, 1).filter((s) => s[1] >= d.from);
    Object.assign(d, { state: more.state, since: more.since, until: more.until });
    if (!document.hidden) this.draw();
  }

  // end gives the time at the right edge.
  end() {
    const since = this.came ? (performance.now() - this.came) / 1e3 : 0;
    return this.data.now + (this.span <= smooth ? Math.min(since, ahead) : 0);
  }

  // slide moves the chart on between messages; sensors that send a block a second would
  // make it jump.
  slide() {
    if (this.plot && !document.hidden && this.came) this.plot.setScale("x", { min: this.end() - this.span, max: this.end() });
  }

  columns() {
    const { inlet, outlet } = this.data;
    const read = (values) => (this.perKPa === 1 ? values : values.map((v) => (v == null ? null : v * this.perKPa)));
    return uPlot.join([
      [inlet.t, read(inlet.low), read(inlet.high)],
      [outlet.t, read(outlet.low), read(outlet.high)],
    ]);
  }

  draw() {
    const d = this.data;
    if (!d) return;
    if (this.plot) this.plot.setData(this.columns());
    else this.rebuild();
    const strokes = d.strokes.length;
    Object.assign(this.box.dataset, { newest: d.now, strokes, points: d.outlet.t.length });
    if (Date.now() - this.said < spoken) return;
    this.said = Date.now();
    const words = (name, line) => (newest(line) === null ? `${name} unknown` : `${name} ${(newest(line) * this.perKPa).toFixed(this.places)} ${this.unit} gauge`);
    this.box.setAttribute("aria-label", `Traces over ${this.span} s: ${words("inlet", d.inlet)}, ${words("outlet", d.outlet)}, ` +
      `${strokes} strokes marked, ${d.state || "state unknown"}, up to ${clock(d.now, this.span)} UTC.`);
  }

  size() {
    return { width: Math.max(240, Math.floor(this.box.clientWidth)), height: innerWidth < 500 ? 300 : 380 };
  }

  rebuild() {
    if (!this.data) return;
    this.plot?.destroy();
    this.box.replaceChildren();
    this.plot = new uPlot(this.options(), this.columns(), this.box);
  }

  options() {
    const ink = colour("--ink"), grid = { stroke: colour("--grid"), width: 1 };
    const axis = { stroke: ink, grid, ticks: grid, font: "12px system-ui, sans-serif" };
    const line = (name, dash) => ({ scale: name, stroke: colour(`--${name}`), width: 1.3, dash, points: { show: false } });
    const mine = (name) => (u, all) => own(u.scales[name], all, name === "outlet");
    const pressures = (name, side) => ({ ...axis, scale: name, side, filter: mine(name), grid: { ...grid, filter: mine(name) }, ticks: { ...grid, filter: mine(name) },
      label: `${name}, ${this.unit} gauge`, labelFont: "12px system-ui, sans-serif", labelSize: 18, size: 42, values: (_, all) => all.map((v) => (v == null ? "" : String(v))) });
    return {
      ...this.size(),
      legend: { show: false },
      padding: [34, 0, 0, 0],
      tzDate: (t) => uPlot.tzDate(new Date(t * 1e3), "Etc/UTC"),
      cursor: { drag: { x: false, y: false }, points: { show: false }, y: false },
      scales: {
        x: { time: true, range: () => [this.end() - this.span, this.end()] },
        outlet: { range: (_, low, high) => half(low, high, true, this.perKPa) },
        inlet: { range: (_, low, high) => half(low, high, false, this.perKPa) },
      },
      axes: [
        { ...axis, size: 58, values: (_, all) => all.map((t) => clock(t, this.span)), space: 80 },
        pressures("outlet", 3),
        pressures("inlet", 1),
      ],
      series: [{}, line("inlet", [5, 3]), line("inlet", [5, 3]), line("outlet"), line("outlet")],
      bands: [
        { series: [2, 1], fill: colour("--inlet") + "33" },
        { series: [4, 3], fill: colour("--outlet") + "33" },
      ],
      hooks: {
        draw: [(u) => marks(u, this.data.strokes, ink), (u) => band(u, this.states(), ink)],
        setCursor: [(u) => this.read(u)],
      },
    };
  }

  // states lists the states with the present one.
  states() {
    const d = this.data;
    return d.state ? [[d.since, d.until, d.state], ...d.intervals] : d.intervals;
  }

  // read says what stands under the pointer.
  read(u) {
    const place = document.getElementById("readout");
    if (u.cursor.idx == null || u.cursor.left < 0) {
      place.textContent = "\u00a0";
      return;
    }
    const near = (low) => {
      for (let k = 0; k < 400; k++)
        for (const i of [u.cursor.idx - k, u.cursor.idx + k])
          if (u.data[low][i] != null) return `${u.data[low][i].toFixed(this.places + 1)} to ${u.data[low + 1][i].toFixed(this.places + 1)} ${this.unit} gauge`;
      return "unknown";
    };
    place.textContent = `${clock(u.data[0][u.cursor.idx], 0)} UTC: outlet ${near(3)}, inlet ${near(1)}`;
  }
}

// fresh appends what is newer than what is there, by the column of its time.
function fresh(old, more, column) {
  const last = old.length ? old[old.length - 1][column] : -Infinity;
  return old.concat(more.filter((m) => m[column] > last));
}

// The outlet has the upper part of the chart and the inlet the lower one, each at its own
// scale: on one scale strokes would not show.
const part = 1.1; // of the other part, in heights of a line's own

// half gives the range of a scale: at least 20 kPa, so that noise does not look like work.
function half(low, high, upper, perKPa) {
  if (low == null) return [0, 1000 * perKPa];
  const room = Math.max((high - low) * 1.15, 20 * perKPa), middle = (low + high) / 2;
  return upper ? [middle - room * (0.5 + part), middle + room / 2] : [middle - room / 2, middle + room * (0.5 + part)];
}

// own drops the ticks that lie in the other line's part.
function own(scale, all, upper) {
  const bound = upper ? scale.max - (scale.max - scale.min) / (1 + part) : scale.min + (scale.max - scale.min) / (1 + part);
  return all.map((v) => ((upper ? v >= bound : v <= bound) ? v : null));
}

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// clock writes a time for a chart over span.
function clock(t, span) {
  const s = new Date(t * 1e3).toISOString();
  if (span > 2 * 86400 && t % 86400 === 0) return s.slice(5, 10);
  return span >= 3600 ? s.slice(11, 16) : s.slice(11, 19);
}
