"use strict";
// The drawings of the live page. One function for each; all take what the server told, in the reader's units.
const COLOURS = JSON.parse(document.getElementById("start").textContent).colours; // of states, as in all pictures
const DASHES = { assembly: "solid", settled: "dash", hot: "long", firing: "dashdot", cold: "dot" };
const LEVELS = { least: "dot", nominal: "solid", greatest: "dash" };
// dark to light, as readable in grey and to the colour-blind as in colour
const STOPS = ["#440154", "#46327e", "#365c8d", "#277f8e", "#1fa187", "#4ac16d", "#a0da39", "#fde725"];
const SCALE = STOPS.map((colour, n) => [n / (STOPS.length - 1), colour]);
const TABLE = Array.from({ length: 256 }, (_, n) => {
  const at = (n / 255) * (STOPS.length - 1), low = Math.min(Math.floor(at), STOPS.length - 2), share = at - low;
  const part = (stop, from) => Number.parseInt(STOPS[stop].slice(from, from + 2), 16);
  return [1, 3, 5].map((from) => Math.round(part(low, from) + share * (part(low + 1, from) - part(low, from))));
});
const STUD = "#2d4a6b", INK = "#22252b", QUIET = "#545a63", RULE = "#e6e8eb";
const TOOLS = { displaylogo: false, responsive: true, displayModeBar: false };
const FONT = { family: "system-ui, sans-serif", size: 12.5, color: INK };

// corners of all triangles in every copy of the cell: the faces' own, so that narrow rings are smooth; and walls from
// the ends of every zone down to nothing, for pressure jumps from zone to zone
function reliefOf(drawn) {
  if (drawn.relief) return drawn.relief;
  const { places, count } = drawn.grid, corners = packed(drawn.triangles, Uint32Array), copies = drawn.images.length, x = new Float32Array(2 * count * copies), y = new Float32Array(2 * count * copies), sides = [[], [], []], ends = new Map();
  drawn.images.forEach(([a, b, c, d, right, up], copy) => {
    for (let n = 0; n < count; n++) for (const at of [copy * count + n, (copies + copy) * count + n]) { x[at] = a * places[n] + b * places[count + n] + right; y[at] = c * places[n] + d * places[count + n] + up; }
  });
  for (let t = 0; t < corners.length; t += 3) for (let k = 0; k < 3; k++) {
    const pair = [corners[t + k], corners[t + (k + 1) % 3]], name = Math.min(...pair) * count + Math.max(...pair);
    if (!ends.delete(name)) ends.set(name, pair);
  }
  const add = (...own) => own.forEach((n, side) => sides[side].push(n)), foot = copies * count, fine = 1e4 / (drawn.high[0] - drawn.low[0]), met = new Map();
  // where two copies meet no zone ends
  const middle = (name, from, to) => `${name} ${Math.round(fine * (x[from] + x[to]))} ${Math.round(fine * (y[from] + y[to]))}`;
  for (let copy = 0; copy < copies; copy++) for (const [name, [from, to]] of ends) { const at = middle(name, copy * count + from, copy * count + to); met.set(at, (met.get(at) || 0) + 1); }
  for (let copy = 0; copy < copies; copy++) {
    const first = copy * count;
    for (let t = 0; t < corners.length; t += 3) add(first + corners[t], first + corners[t + 1], first + corners[t + 2]);
    for (const [name, [from, to]] of ends) if (met.get(middle(name, first + from, first + to)) === 1) { add(first + from, first + to, foot + first + to); add(first + from, foot + first + to, foot + first + from); }
  }
  drawn.relief = { x, y, sides, copies };
  return drawn.relief;
}

// walls down to nothing along the sides of what is shown, where the gasket goes on beyond it
function sideWalls({ wide, high, low, step }, values, out, { x, y, z, i, j, k }) {
  const wall = (from, to) => {
    if (!(values[from[0]] >= 0 && values[to[0]] >= 0)) return;
    const first = x.length;
    for (const [at, px, py] of [from, to]) for (const p of [values[at], 0]) { x.push(px); y.push(py); z.push(p); }
    i.push(first, first + 1); j.push(first + 2, first + 2); k.push(first + 1, first + 3);
  };
  for (const [row, shift] of [[0, -out], [high - 1, out]]) for (let n = 1; n < wide; n++) {
    const at = (m) => [row * wide + m, low[0] + m * step, low[1] + row * step + shift];
    wall(at(n - 1), at(n));
  }
  for (const [n, shift] of [[0, -out], [wide - 1, out]]) for (let row = 1; row < high; row++) {
    const at = (m) => [m * wide + n, low[0] + n * step + shift, low[1] + m * step];
    wall(at(row - 1), at(row));
  }
}

// the library for it is large: it comes when the first relief is asked for
let library = null;
function plotly() {
  library ??= new Promise((done, failed) => {
    const script = document.createElement("script");
    Object.assign(script, { src: "/assets/plotly.js", onload: done, onerror: () => { library = null; failed(new TypeError("no answer")); } });
    document.head.append(script);
  });
  return library;
}

async function drawRelief(place, drawn, told, units) {
  await plotly();
  if (now.view !== "relief") return; // chosen otherwise while it came
  const { x, y, sides, copies } = reliefOf(drawn), own = packed(told.pressure, Float32Array), top = told.ticks.at(-1);
  const z = new Float32Array(2 * own.length * copies);
  for (let copy = 0; copy < copies; copy++) z.set(own, copy * own.length);
  const wide = drawn.high[0] - drawn.low[0], deep = drawn.high[1] - drawn.low[1], most = Math.max(wide, deep);
  const edge = 0.002 * most, all = { x: Array.from(x), y: Array.from(y), z: Array.from(z), i: sides[0].slice(), j: sides[1].slice(), k: sides[2].slice() };
  sideWalls(drawn.grid, gridded(drawn.grid, told.pressure), edge / 2, all);
  const trace = {
    type: "mesh3d", ...all, intensity: all.z, cmin: 0, cmax: top, colorscale: SCALE,
    lighting: { ambient: 0.8, diffuse: 0.35, specular: 0, roughness: 1 },
    colorbar: { title: { text: drawn.bar, side: "right", font: { size: 12.5 } }, thickness: 14, len: 0.8, tickvals: told.ticks },
    hovertemplate: "%{z:.3g} " + units.pressure + "<extra></extra>",
  };
  const narrow = document.getElementById(place).clientWidth < 450, back = narrow ? 2.1 : 1.3; // no word is cut
  const words = { title: { font: { size: narrow ? 9 : 12.5 } }, tickfont: { size: narrow ? 9 : 11 }, nticks: narrow ? 4 : 7 };
  const layout = {
    font: FONT, margin: { l: 0, r: 0, t: 0, b: 0 }, uirevision: narrow,
    scene: {
      aspectmode: "manual", aspectratio: { x: (1.6 * wide) / most, y: (1.6 * deep) / most, z: 0.55 },
      xaxis: { ...words, title: { ...words.title, text: drawn.across }, range: [drawn.low[0] - edge, drawn.high[0] + edge] }, yaxis: { ...words, title: { ...words.title, text: drawn.up }, range: [drawn.low[1] - edge, drawn.high[1] + edge] },
      zaxis: { ...words, title: { text: "" }, range: [0, 1.15 * top], tickvals: narrow ? [top] : told.ticks.filter((one) => one > 0) }, // its 0 is where two sides end
      camera: { eye: { x: 1.4 * back, y: -1.7 * back, z: 1.15 * back }, center: { x: 0, y: 0, z: -0.2 } },
    },
  };
  return Plotly.react(place, [trace], layout, TOOLS);
}

// turns the relief by so many steps round the vertical and up, for those who do not drag
function turnRelief(id, round, up) {
  const place = document.getElementById(id);
  if (!place._fullLayout || !place._fullLayout.scene) return;
  const { eye } = place._fullLayout.scene.camera, far = Math.hypot(eye.x, eye.y, eye.z), step = Math.PI / 12;
  const turn = Math.atan2(eye.y, eye.x) + round * step, high = Math.min(1.5, Math.max(0.05, Math.asin(eye.z / far) + up * step));
  Plotly.relayout(place, { "scene.camera.eye": { x: far * Math.cos(high) * Math.cos(turn), y: far * Math.cos(high) * Math.sin(turn), z: far * Math.sin(high) } });
}

// along the sealing line of a bore over the angle, or of one stud over the radius
function drawLine(place, states, lines, units, whole, pinned) {
  const curves = [];
  states.forEach((state, n) => lines[n].forEach((line, bore) => {
    const name = state.name + (lines[n].length > 1 ? ", bore " + (bore + 1) : "");
    if (lines[n].length > 1 && !(bore === 0 || line.fired)) return;
    const look = { color: COLOURS[state.kind] || INK, dash: DASHES[state.kind] };
    curves.push({ ...parted(line), name, ...look });
    if (state.gas && line.fired) curves.push({ x: neededOver(line), y: [line.need, line.need], name: "needed, " + state.name, color: look.color, width: 1.3, dash: "dash", quiet: true });
    if (pinned && state.gas && pinned[n] && pinned[n][bore]) curves.push({ ...parted(pinned[n][bore]), name: "pinned, " + state.name, color: QUIET, width: 1.3, dash: "dot" });
  }));
  const across = { title: whole ? "angle from the row of bores, deg" : "radius from the stud's axis, " + units.length, steps: whole ? [15, 30, 45, 90] : null };
  drawGraph(place, { across, up: "pressure, " + units.pressure, curves, unit: units.pressure, tall: 250, zones: zonesOf(lines[0][0]) });
}

// the sealing zone alone has to press as hard as needed
function neededOver({ at, zone, sealing }) {
  return zone ? [at[zone.indexOf(sealing)], at[zone.lastIndexOf(sealing)]] : [at[0], at.at(-1)];
}

// from where to where every zone of the gasket goes, of one stud
function zonesOf({ at, zone }) {
  const found = [];
  (zone || []).forEach((name, n) => { if (n && name === zone[n - 1]) found.at(-1).to = at[n]; else found.push({ name, from: at[n], to: at[n] }); });
  return found;
}

// pressure jumps from zone to zone: the curve is broken there
function parted(line) {
  if (!line.zone) return { x: line.at, y: line.pressure };
  const x = [], y = [];
  line.at.forEach((at, n) => {
    if (n && line.zone[n] !== line.zone[n - 1]) { x.push(null); y.push(null); }
    x.push(at); y.push(line.pressure[n]);
  });
  return { x, y };
}

function drawClamp(place, states, forces, units, pinned) {
  const curves = [], names = states.map((one) => one.name), x = names.map((_, n) => n);
  for (const [level, dash] of Object.entries(LEVELS)) {
    const studs = forces[level][0].length;
    for (let stud = 0; stud < studs; stud++) curves.push({
      x, y: forces[level].map((one) => one[stud]), name: stud ? "" : level + " preload", told: level + " preload" + (studs > 1 ? ", stud " + (stud + 1) : ""),
      color: STUD, dash, width: 1.8, mark: "circle", size: 2.6,
    });
  }
  if (pinned) curves.push({ x, y: pinned.nominal.map((one) => Math.min(...one)), name: "pinned, nominal", color: QUIET, width: 1.3, dash: "dot", mark: "cross" });
  drawGraph(place, { across: { names }, up: "force, " + units.force, curves, unit: units.force, tall: 230 });
}

// forces over stretch while the studs are tightened, and beside it what gas does to them
function drawDiagram(place, told, units, pinned) {
  const full = told.stretch.at(-1);
  let wide = Math.max(full, ...told.closed, ...(pinned ? [...pinned.stretch, ...pinned.closed] : []));
  const curves = [
    { x: told.stretch, y: told.force, name: "stud, closed-form stretch", color: COLOURS.assembly, width: 2.2 },
    { x: told.closed, y: told.force, name: "clamped parts", color: COLOURS.cold, width: 2.2, dash: "dash" },
  ];
  if (pinned) curves.push({ x: [...pinned.stretch, null, ...pinned.closed], y: [...pinned.force, null, ...pinned.force], name: "pinned", color: QUIET, width: 1.2, dash: "dot" });
  if (told.gas) {
    const { rest, fired, clamp } = told.gas, at = full * (fired / told.force.at(-1));
    wide = Math.max(wide, at, full * (rest / told.force.at(-1)));
    curves.push({ x: [at, at], y: [fired, clamp], name: told.gas.state, color: COLOURS.firing, width: 1.6, mark: ["up", "down"], size: 4.5 });
    curves.push({ x: [full * (rest / told.force.at(-1))], y: [rest], name: "hot, no gas", color: COLOURS.hot, line: false, mark: "circle", hollow: true, size: 4.5 });
  }
  drawGraph(place, { across: { title: "overlap pulled in, " + told.unit, range: [0, 1.06 * wide] }, up: "force of one stud, " + units.force, curves, unit: units.force, tall: 300 });
}

function drawService(place, told, units) {
  const x = told.names.map((_, n) => n), curves = [
    { x, y: told.force, name: "at the step's temperature", color: STUD, width: 1.8, mark: "circle", size: 2.6 },
    { x, y: told.fired, name: "with gas", color: COLOURS.firing, line: false, mark: "up", size: 4.5 },
  ];
  drawGraph(place, { across: { names: told.names }, up: "clamp of one stud, " + units.force, curves, unit: units.force, tall: 340 });
}
