// Renews the stations every few seconds. Without it the page reloads itself.
const period = 5000; // ms
const wait = 4000; // ms for an answer

const stations = document.getElementById("stations");
const outdated = document.getElementById("outdated");
let good = new Date();
let busy = false;

async function refresh() {
  if (busy || document.hidden) return;
  busy = true;
  try {
    const answer = await fetch("stations", { cache: "no-store", signal: AbortSignal.timeout(wait) });
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    stations.innerHTML = await answer.text();
    good = new Date();
    show("");
  } catch (problem) {
    show(`Out of date: no answer since ${good.toISOString().slice(0, 19).replace("T", " ")} UTC (${problem.message}). Do not act on what stands below.`);
  } finally {
    busy = false;
  }
}

// show tells that the page is out of date, or takes the notice away.
function show(text) {
  outdated.textContent = text;
  outdated.hidden = text === "";
  stations.classList.toggle("outdated", text !== "");
}

setInterval(refresh, period);
document.addEventListener("visibilitychange", refresh);
