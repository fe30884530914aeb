// Keeps a station's page up to date and draws its traces.
import { feed, notice, text } from "./feed.js";
import { Chart } from "./chart.js";
import { morph, unfold, writing } from "./morph.js";

const main = document.getElementById("station");
const { key, root } = main.dataset;
const chart = new Chart(document.getElementById("chart"), `${root}station/${key}/trace`);

function put(name, html) {
  const part = main.querySelector(`[data-part=${name}]`);
  if (!part || part.innerHTML === html) return;
  const next = unfold(part, html);
  if (writing(part)) morph(part, next);
  else part.replaceChildren(...next.childNodes);
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
