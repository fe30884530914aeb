// Keeps a page up to date: one stream of events a browser, shared by its tabs. The tab that
// holds the lock has the stream and gives it up when hidden; where there is no stream the
// page is fetched again every few seconds.
const period = 5000; // ms between looks at the stream and, without one, fetches
const quiet = 8000; // ms without an event after which the stream is not trusted
const lease = 12000; // ms for which another tab's wish holds
const again = 30000; // ms after which a refused stream is asked for again
const kinds = ["stations", "station", "trace", "alive"];

const me = Math.random().toString(36).slice(2);
const channel = "BroadcastChannel" in self ? new BroadcastChannel("strokewise") : null;
const wishes = new Map(); // of all visible tabs, by tab
let page; // { root, cards, watch, receive, renew, show }
let source = null;
let address = "";
let release = null; // gives up the lock
let waiting = null; // for the lock
let holding = false;
let refused = 0; // when a stream was refused
let heard = 0; // when the last event came
let good = new Date();
let busy = false;

// feed starts keeping the page up to date.
export function feed(options) {
  page = options;
  channel?.addEventListener("message", (m) => told(m.data));
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : enter()));
  addEventListener("pagehide", leave);
  addEventListener("pageshow", (e) => e.persisted && enter());
  setInterval(look, period);
  if (!document.hidden) enter();
}

function enter() {
  wish();
  if (heard) renew(); // what was missed while hidden
  if (!navigator.locks) {
    hold();
    return;
  }
  waiting = new AbortController();
  navigator.locks
    .request("strokewise-stream", { signal: waiting.signal }, () => {
      if (document.hidden) return;
      const given = new Promise((done) => (release = done));
      hold();
      return given;
    })
    .catch(() => {}); // hidden before it was our turn
}

function leave() {
  channel?.postMessage({ bye: me });
  wishes.clear();
  waiting?.abort();
  holding = false;
  stop();
  release?.();
  release = null;
}

function hold() {
  holding = true;
  channel?.postMessage({ who: true });
  wish();
  connect();
}

// wish says what this tab wants to hear.
function wish() {
  const mine = { cards: page.cards, watch: page.watch };
  wishes.set(me, { ...mine, until: Infinity });
  channel?.postMessage({ wish: mine, from: me });
}

function told(m) {
  if (document.hidden) return;
  if (m.event) deliver(m.event, m.data);
  if (m.who) wish();
  if (m.wish) wishes.set(m.from, { ...m.wish, until: Date.now() + lease });
  if (m.bye) wishes.delete(m.bye);
  if (holding && (m.wish || m.bye)) connect();
}

// wanted gives the address of the stream that serves all visible tabs.
function wanted() {
  const q = new URLSearchParams();
  const watch = new Set();
  for (const [tab, w] of wishes) {
    if (w.until < Date.now()) wishes.delete(tab);
    else {
      if (w.cards) q.set("cards", "1");
      for (const k of w.watch) watch.add(k);
    }
  }
  for (const k of [...watch].sort().slice(0, 8)) q.append("watch", k);
  return `${page.root}events?${q}`;
}

function connect() {
  const to = wanted();
  if ((source && to === address) || Date.now() - refused < again) return;
  stop();
  address = to;
  source = new EventSource(to);
  document.documentElement.dataset.stream = "own"; // for tests and people who look
  source.addEventListener("open", () => share("open", ""));
  for (const kind of kinds) source.addEventListener(kind, (e) => share(kind, e.data));
  source.addEventListener("error", () => {
    if (source?.readyState === EventSource.CLOSED) {
      stop();
      refused = Date.now();
    }
    renew();
  });
}

function stop() {
  delete document.documentElement.dataset.stream;
  source?.close();
  source = null;
}

function share(event, data) {
  channel?.postMessage({ event, data });
  deliver(event, data);
}

function deliver(event, data) {
  heard = Date.now();
  fine();
  if (event === "open") renew(); // catches up
  else if (event !== "alive") page.receive(event, JSON.parse(data));
}

// look asks whether the stream still speaks, and fetches where it does not.
function look() {
  if (document.hidden) return;
  wish();
  if (holding) connect();
  if (Date.now() - heard > quiet) renew();
}

async function renew() {
  if (busy || document.hidden) return;
  busy = true;
  try {
    await page.renew();
    fine();
  } catch (problem) {
    page.show(
      `Out of date: no answer since ${stamp(good)} UTC (${problem.message}). Do not act on what stands below.`,
    );
  } finally {
    busy = false;
  }
}

function fine() {
  good = new Date();
  page.show("");
}

const stamp = (t) => t.toISOString().slice(0, 19).replace("T", " ");

// text fetches a page or fragment.
export async function text(url) {
  const answer = await fetch(url, { cache: "no-store", signal: AbortSignal.timeout(4000) });
  if (answer.status === 401) location.reload(); // the login has ended: the page leads to another one
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  return answer.text();
}

// notice gives the function that tells that main is out of date, or takes that back.
export function notice(main) {
  const place = document.getElementById("outdated");
  return (words) => {
    if (place.textContent === words) return;
    place.textContent = words;
    place.hidden = words === "";
    main.classList.toggle("outdated", words !== "");
  };
}
