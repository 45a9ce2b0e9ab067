"use strict";
// Graphs of curves, drawn as SVG within milliseconds; what is pointed at is told beside it.
const DASH = { dot: "1.5 3.5", dash: "7 4", dashdot: "8 3 1.5 3", long: "15 3" };
const EDGE = "#7a828c";
const MARKS = {
  circle: (x, y, r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`,
  up: (x, y, r) => `M${x} ${y - r}L${x + r} ${y + r}H${x - r}z`,
  down: (x, y, r) => `M${x} ${y + r}L${x + r} ${y - r}H${x - r}z`,
  cross: (x, y, r) => `M${x - r} ${y - r}L${x + r} ${y + r}M${x + r} ${y - r}L${x - r} ${y + r}`,
};
const ruler = document.createElement("canvas").getContext("2d");
// places that hold a graph are drawn again where they become wider or narrower, or are seen; asked for their width while
// something else was just written they would have all of it laid out
const widths = new ResizeObserver((seen) => { for (const { target } of seen) if (target.wide !== target.clientWidth) { target.wide = target.clientWidth; requestAnimationFrame(() => { if (target.graph) drawGraph(target.id, target.graph); }); } });

function plain(text) { return String(text).replace(/[&<>"']/g, (one) => `&#${one.charCodeAt(0)};`); }
function round(value) { return Math.round(10 * value) / 10; }
// the same words come again and again, and asking has the page laid out
const measured = new Map();
function widthOf(text) {
  if (!measured.has(text)) { if (measured.size > 2000) measured.clear(); ruler.font = "12px system-ui, sans-serif"; measured.set(text, ruler.measureText(text).width); }
  return measured.get(text);
}
function cut(text, most) { return text.length > most ? text.slice(0, most - 1) + "\u2026" : text; }

function strokeOf({ color, dash, width = 2 }) { return `fill="none" stroke="${color}" stroke-width="${width}" stroke-linejoin="round"${DASH[dash] ? ` stroke-dasharray="${DASH[dash]}"` : ""}`; }

function markOf({ mark, size = 3, hollow, color }, x, y) {
  const fill = hollow || mark === "cross" ? "none" : color;
  return `<path d="${MARKS[mark](round(x), round(y), size)}" fill="${fill}" stroke="${color}" stroke-width="${fill === "none" ? 1.8 : 0.6}"/>`;
}

function keyOf(curves) {
  return curves.filter((one) => one.name).map((one) => `<li><svg width="30" height="12" aria-hidden="true">${one.line === false ? "" : `<path d="M1 6H29" ${strokeOf(one)}/>`}${one.mark ? markOf({ ...one, mark: [one.mark].flat()[0] }, 15, 6) : ""}</svg>${plain(one.name)}</li>`).join("");
}

// a round step that divides a span into at most so many, and its multiples between two ends
function roundPart(span, most) {
  const power = 10 ** Math.floor(Math.log10(span / most));
  return [1, 2, 5, 10].map((one) => one * power).find((one) => span / one <= most * (1 + 1e-9));
}
function ticksOf(low, high, step) {
  const first = Math.ceil(low / step - 1e-9);
  return Array.from({ length: Math.floor(high / step + 1e-9) - first + 1 }, (_, n) => (first + n) * step);
}

function emptyGraph(place) {
  place.innerHTML = `<ul class="key"></ul><div class="graph"><svg width="100%" font-family="system-ui, sans-serif" font-size="12" fill="${QUIET}"><g class="axes"></g><g class="lines"></g><path class="at" d="" stroke="${QUIET}" stroke-width="0.8"/></svg><div class="told" hidden></div></div>`;
  return place.querySelector(".graph");
}

// words of axes are dear to lay out, and mostly stay
function changed(place, text) { if (place.drawn !== text) { place.drawn = text; place.innerHTML = text; } }

// names over the zones of a graph, each on the first line where it covers no other: name, middle, line, where it begins
function namesOver(zones, X, left, right) {
  const ends = [];
  const named = zones.map(({ name, from, to }) => {
    const half = widthOf(name) / 2 + 4, x = Math.min(Math.max((X(from) + X(to)) / 2, left + half), right - half);
    let row = ends.findIndex((end) => end <= x - half);
    if (row < 0) row = ends.length;
    ends[row] = x + half;
    return [name, round(x), row, X(from)];
  });
  return { named, rows: ends.length };
}

// graph : across and up, each with its title; across with names instead of numbers, a range, or the steps that its ticks
// may have. curves : x (numbers of names), y, name, color, and a dash, width or mark. tall : px. unit : of what is told.
// zones : name, from and to of the parts that across goes through, where it does
function drawGraph(id, graph) {
  const place = document.getElementById(id), { across, curves, unit, tall, zones = [] } = graph, names = across.names;
  place.graph = graph;
  if (place.wide === undefined) { place.wide = place.clientWidth; widths.observe(place); }
  const wide = place.wide;
  if (!wide) return; // hidden: drawn once it is seen
  const known = curves.flatMap((one) => one.y).filter((y) => y !== null), xs = curves.flatMap((one) => one.x).filter((x) => x !== null);
  const least = Math.min(0, ...known), most = Math.max(...known, 1e-9), part = roundPart(most - least, Math.max(3, Math.floor(tall / 45)));
  const [low, high] = [part * Math.floor(least / part + 1e-9), part * Math.ceil(most / part - 1e-9)], levels = ticksOf(low, high, part);
  const first = names ? -0.4 : across.range ? across.range[0] : Math.min(...xs), last = names ? names.length - 0.6 : across.range ? across.range[1] : Math.max(...xs);
  const tick = (value) => Number(value.toPrecision(4)).toString(), short = names && names.map((one) => cut(one, 30));
  const left = 26 + Math.max(...levels.map((one) => widthOf(tick(one)))), right = 10, room = wide - left - right;
  const slanted = names && Math.max(...short.map((one) => widthOf(one))) > room / names.length - 8;
  const under = slanted ? 14 + 0.62 * Math.max(...short.map((one) => widthOf(one))) : 20 + (across.title ? 18 : 0);
  const X = (x) => round(left + ((x - first) / (last - first || 1)) * room), { named, rows } = namesOver(zones, X, left, wide - right), top = 8 + 15 * rows;
  const Y = (y) => round(top + ((high - y) / (high - low || 1)) * (tall - top - under));
  const bottom = Y(low), frame = [], out = [];
  for (const one of levels) frame.push(`<path d="M${left} ${Y(one)}H${wide - right}" stroke="${RULE}"/><text x="${left - 6}" y="${Y(one) + 4}" text-anchor="end">${tick(one)}</text>`);
  const step = names ? 1 : across.steps ? across.steps.find((one) => (last - first) / one <= room / 34) : roundPart(last - first || 1, Math.max(3, Math.floor(room / 58)));
  const at = names ? names.map((_, n) => n) : ticksOf(first, last, step);
  for (const [n, one] of at.entries()) {
    const x = X(one), turned = slanted ? ` transform="rotate(-38 ${x} ${bottom + 14})"` : "";
    frame.push(`<path d="M${x} ${bottom}v4" stroke="${EDGE}"/><text x="${x}" y="${bottom + (slanted ? 14 : 17)}" text-anchor="${slanted ? "end" : "middle"}"${turned}>${names ? plain(short[n]) : tick(one)}${slanted ? `<title>${plain(names[n])}</title>` : ""}</text>`);
  }
  frame.push(`<path d="M${left} ${top}V${bottom}H${wide - right}" fill="none" stroke="${EDGE}"/>`);
  for (const [name, x, row, border] of named) frame.push(`<text x="${x}" y="${15 * row + 12}" text-anchor="middle">${plain(name)}</text>` + (border > left + 1 ? `<path d="M${border} ${15 * row + 2}V${bottom}" stroke="${EDGE}" stroke-dasharray="2 3"/>` : ""));
  if (across.title) frame.push(`<text class="title" x="${left + room / 2}" y="${tall - 4}" text-anchor="middle">${plain(across.title)}</text>`);
  frame.push(`<text class="title" x="12" y="${(top + bottom) / 2}" text-anchor="middle" transform="rotate(-90 12 ${(top + bottom) / 2})">${plain(graph.up)}</text>`);
  for (const one of curves) {
    let path = "", pen = "M";
    one.x.forEach((x, n) => { if (x === null || one.y[n] === null) { pen = "M"; return; } path += pen + X(x) + " " + Y(one.y[n]); pen = "L"; });
    if (one.line !== false) out.push(`<path d="${path}" ${strokeOf(one)}/>`);
    if (one.mark) one.x.forEach((x, n) => { if (x !== null && one.y[n] !== null) out.push(markOf({ ...one, mark: [one.mark].flat()[n] ?? one.mark }, X(x), Y(one.y[n]))); });
  }
  const graphIn = place.querySelector(".graph") || emptyGraph(place), [svg, axes, lines] = ["svg", ".axes", ".lines"].map((one) => graphIn.querySelector(one));
  if (svg.dataset.size !== `${wide} ${tall}`) { svg.dataset.size = `${wide} ${tall}`; svg.setAttribute("viewBox", `0 0 ${wide} ${tall}`); svg.setAttribute("height", tall); }
  changed(place.querySelector(".key"), keyOf(curves)); changed(axes, frame.join("")); changed(lines, out.join(""));
  const said = curves.filter((one) => one.name).map((one) => [one.name, one.y.filter((y) => y !== null)]).map(([name, ys]) => `${name} ${tick(Math.min(...ys))} to ${tick(Math.max(...ys))}`);
  place.setAttribute("aria-label", `${place.dataset.named}, ${graph.up}: ${said.join("; ")}`);
  figuresOf(place, graph);
  pointed(place.querySelector(".graph"), graph, { left, first, last, room, top, bottom, wide });
}

// a line where it is pointed at, and what the curves are there; told anew where they are drawn anew under it
function pointed(graph, { across, curves, unit }, { left, first, last, room, top, bottom, wide }) {
  const line = graph.querySelector(".at"), told = graph.querySelector(".told"), tell = (y) => Number(y.toPrecision(4)).toString();
  const clear = () => { line.setAttribute("d", ""); told.hidden = true; };
  const tellAt = () => {
    const asked = first + ((graph.pointedAt - graph.getBoundingClientRect().left - left) / room) * (last - first), near = (xs) => xs.reduce((best, x, n) => (x !== null && (best < 0 || Math.abs(x - asked) < Math.abs(xs[best] - asked)) ? n : best), -1);
    const found = curves.map((one) => [one, near(one.x)]).filter(([one, n]) => n >= 0 && one.y[n] !== null && !one.quiet);
    if (!found.length) { clear(); return; }
    const x = found.map(([one, n]) => one.x[n]).reduce((best, one) => (Math.abs(one - asked) < Math.abs(best - asked) ? one : best)), px = left + ((x - first) / (last - first || 1)) * room;
    const beside = found.filter(([one, n]) => Math.abs(one.x[n] - x) < 0.02 * (last - first));
    line.setAttribute("d", `M${px} ${top}V${bottom}`);
    told.innerHTML = `<b>${plain(across.names ? across.names[x] : Number(x.toPrecision(4)))}</b><br>` + beside.map(([one, n]) => `<i style="background:${one.color}"></i>${plain(one.told || one.name)}: ${tell(one.y[n])} ${plain(unit)}`).join("<br>");
    told.hidden = false;
    told.style.left = px < wide / 2 ? `${px + 10}px` : "auto"; told.style.right = px < wide / 2 ? "auto" : `${wide - px + 10}px`;
  };
  graph.onpointermove = (event) => { graph.pointedAt = event.clientX; tellAt(); };
  graph.onpointerleave = () => { graph.pointedAt = null; clear(); };
  if (graph.pointedAt != null) tellAt();
}

function clearGraph(id) {
  const place = document.getElementById(id);
  place.graph = null; figuresOf(place, null); place.replaceChildren();
  place.setAttribute("aria-label", place.dataset.named);
}
