// Keeps the page of stations up to date. Without it the page reloads itself.
import { feed, notice, text } from "./feed.js";
import { morph, unfold } from "./morph.js";

const stations = document.getElementById("stations");

async function renew() {
  stations.innerHTML = await text("stations");
}

function receive(event, data) {
  if (event !== "stations") return;
  if (data.all) {
    renew().catch(() => {}); // the next look tells
    return;
  }
  const summary = stations.querySelector("[data-part=summary]");
  morph(summary, unfold(summary, data.summary)); // links to alarms stay under the finger
  for (const card of data.cards) {
    const old = stations.querySelector(`[data-key="${CSS.escape(card.key)}"]`);
    if (old && !old.contains(document.activeElement)) old.outerHTML = card.html;
  }
}

feed({ root: "", cards: true, watch: [], receive, renew, show: notice(stations) });
