// Draws strokes above and states below the traces. Hatching and letters tell the states
// apart where colour does not.
const letters = {};
for (const item of document.querySelectorAll("[data-state]")) letters[item.dataset.state] = item.dataset.letters;

const hatching = {
  blind: [45, 135], off: [], charging: [45], stroking: [90], holding: [0], starved: [135], venting: [0, 90], residual: [45, 0],
};
const height = 18; // px of the band
const below = 34; // px from the traces to the band

// marks draws a mark for every stroke, side a in the upper row and b in the lower one.
export function marks(u, strokes, ink) {
  const { ctx } = u, r = devicePixelRatio, { left, width, top } = u.bbox;
  ctx.save();
  ctx.fillStyle = ctx.strokeStyle = ink;
  const wide = apart(u, strokes) > 4.5 * r ? 3.5 * r : 0.5 * r;
  for (const [t, side] of strokes) {
    const x = u.valToPos(t, "x", true);
    if (x < left || x > left + width) continue;
    const y = top - (side === "a" ? 26 : 13) * r, h = 9 * r;
    if (side === "" || wide < r) {
      const tall = side === "" ? 22 * r : h;
      ctx.fillRect(x - r / 2, side === "" ? top - 26 * r : y, Math.max(r, 1), tall);
      continue;
    }
    ctx.beginPath();
    const [tip, foot] = side === "a" ? [y, y + h] : [y + h, y];
    ctx.moveTo(x, tip);
    ctx.lineTo(x - wide, foot);
    ctx.lineTo(x + wide, foot);
    ctx.fill();
  }
  ctx.restore();
}

// apart gives the usual distance of two strokes on the canvas.
function apart(u, strokes) {
  const gaps = strokes.slice(1).map((s, i) => u.valToPos(s[0], "x", true) - u.valToPos(strokes[i][0], "x", true));
  gaps.sort((a, b) => a - b);
  return gaps.length ? gaps[gaps.length >> 1] : Infinity;
}

// band draws the states; later ones of the list lie on top.
export function band(u, states, ink) {
  const { ctx } = u, r = devicePixelRatio, { left, width } = u.bbox;
  const top = u.bbox.top + u.bbox.height + below * r, h = height * r;
  ctx.save();
  ctx.font = `bold ${11 * r}px system-ui, sans-serif`;
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  for (const [from, to, state] of states) {
    const x = Math.max(u.valToPos(from, "x", true), left), end = Math.min(u.valToPos(to, "x", true), left + width);
    if (end <= x) continue;
    fill(ctx, state, x, top, Math.max(end - x, 1), h, r);
    const word = end - x > 60 * r ? state : letters[state] || "";
    if (end - x > 18 * r) write(ctx, word, (x + end) / 2, top + h / 2, r, ink);
  }
  ctx.strokeStyle = ink;
  ctx.lineWidth = r;
  ctx.strokeRect(left, top, width, h);
  ctx.restore();
}

function fill(ctx, state, x, y, w, h, r) {
  const style = getComputedStyle(document.documentElement);
  ctx.save();
  ctx.beginPath();
  ctx.rect(x, y, w, h);
  ctx.clip();
  ctx.fillStyle = style.getPropertyValue(`--s-${state}`).trim();
  ctx.fillRect(x, y, w, h);
  ctx.strokeStyle = style.getPropertyValue("--hatch").trim();
  ctx.lineWidth = r;
  ctx.beginPath();
  for (const angle of hatching[state] || []) hatch(ctx, angle, x, y, w, h, 6 * r);
  ctx.stroke();
  ctx.restore();
}

function hatch(ctx, angle, x, y, w, h, step) {
  if (angle === 0) for (let v = y + step / 2; v < y + h; v += step) ctx.moveTo(x, v), ctx.lineTo(x + w, v);
  else if (angle === 90) for (let v = x - (x % step); v < x + w; v += step) ctx.moveTo(v, y), ctx.lineTo(v, y + h);
  else {
    const lean = angle === 45 ? h : -h;
    for (let v = x - (x % step) - h; v < x + w + h; v += step) ctx.moveTo(v, y + h), ctx.lineTo(v + lean, y);
  }
}

function write(ctx, word, x, y, r, ink) {
  const half = ctx.measureText(word).width / 2 + 3 * r;
  ctx.fillStyle = getComputedStyle(document.documentElement).getPropertyValue("--card").trim();
  ctx.fillRect(x - half, y - 7 * r, 2 * half, 14 * r);
  ctx.fillStyle = ink;
  ctx.fillText(word, x, y);
}
