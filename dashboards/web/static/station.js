// Keeps a station's page up to date and draws its traces.
import { feed, notice, text } from "./feed.js";
import { Chart } from "./chart.js";
import { morph, writing } from "./morph.js";

const main = document.getElementById("station");
const { key, root } = main.dataset;
const chart = new Chart(document.getElementById("chart"), `${root}station/${key}/trace`);

// headed names a part that can be unfolded by the heading it stands under.
function headed(details) {
  let h = details.previousElementSibling;
  while (h && !/^h\d$/.test(h.localName)) h = h.previousElementSibling;
  return h?.textContent ?? "";
}

// opened gives what people have unfolded in a part.
function opened(part) {
  return new Set([...part.querySelectorAll("details[open]")].map(headed));
}

function put(name, html) {
  const part = main.querySelector(`[data-part=${name}]`);
  if (!part || part.innerHTML === html) return;
  if (writing(part)) morph(part, html);
  else {
    const open = opened(part);
    part.innerHTML = html;
    for (const d of part.querySelectorAll("details")) d.open ||= open.has(headed(d));
  }
}

async function renew() {
  const page = new DOMParser().parseFromString(await text(location.href), "text/html");
  for (const part of page.querySelectorAll("[data-part]")) put(part.dataset.part, part.innerHTML);
  await chart.load();
}

function receive(event, data) {
  if (data.key !== key) return;
  if (event === "trace") chart.add(data);
  if (event === "station") for (const name in data.parts) put(name, data.parts[name]);
}

chart.load().catch(() => {}); // the next look tells
feed({ root, cards: false, watch: [key], receive, renew, show: notice(main) });
