"use strict";
// The drawings of the live page. One function for each; all take what the server told, in the reader's units.
const COLOURS = JSON.parse(document.getElementById("start").textContent).colours; // of states, as in all pictures
const DASHES = { assembly: "solid", settled: "dash", hot: "solid", firing: "solid", cold: "dot" };
const LEVELS = { least: "dot", nominal: "solid", greatest: "dash" };
// dark to light, as readable in grey and to the colour-blind as in colour
const STOPS = ["#440154", "#46327e", "#365c8d", "#277f8e", "#1fa187", "#4ac16d", "#a0da39", "#fde725"];
const SCALE = STOPS.map((colour, n) => [n / (STOPS.length - 1), colour]);
const TABLE = Array.from({ length: 256 }, (_, n) => {
  const at = (n / 255) * (STOPS.length - 1), low = Math.min(Math.floor(at), STOPS.length - 2), share = at - low;
  const part = (stop, from) => Number.parseInt(STOPS[stop].slice(from, from + 2), 16);
  return [1, 3, 5].map((from) => Math.round(part(low, from) + share * (part(low + 1, from) - part(low, from))));
});
const STUD = "#2d4a6b", INK = "#22252b", QUIET = "#666c75", RULE = "#e6e8eb";
const TOOLS = { displaylogo: false, responsive: true, displayModeBar: false };
const TOP = { orientation: "h", x: 0, y: 1.02, yanchor: "bottom", font: { size: 11.5 } };
const FONT = { family: "system-ui, sans-serif", size: 12.5, color: INK };

function axis(title, more) {
  return { title: { text: title, standoff: 6 }, gridcolor: RULE, zeroline: false, linecolor: "#b9c0c8", automargin: true, ...more };
}

function unpacked(text, rows, columns) {
  const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
  const values = new Float32Array(bytes.buffer), found = [];
  for (let row = 0; row < rows; row++) found.push(values.subarray(row * columns, (row + 1) * columns));
  return found;
}

// the next of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten: colour scales end in round numbers
function roundUp(value) {
  const power = 10 ** Math.floor(Math.log10(Math.max(value, 1e-9)));
  return [1, 1.5, 2, 3, 4, 5, 6, 8, 10].find((one) => one * power >= value) * power;
}

// most of a gasket bears far less than its stopper: colours end where only a two-hundredth of it is beyond
function scaleEnd(rows) {
  const all = [];
  for (const row of rows) for (let n = 0; n < row.length; n += 3) if (row[n] > 0) all.push(row[n]);
  all.sort((a, b) => a - b);
  return roundUp(all.length ? all[Math.floor(0.995 * (all.length - 1))] : 1);
}

// where a grid of values crosses a level, as pieces of line, cell by cell: cheaper than a contour trace
function levelLine(x, y, z, level) {
  const found = { x: [], y: [] };
  const cross = (a, b, p, q) => p + ((level - a) / (b - a)) * (q - p);
  for (let row = 0; row + 1 < y.length; row++) for (let n = 0; n + 1 < x.length; n++) {
    const a = z[row][n], b = z[row][n + 1], c = z[row + 1][n + 1], d = z[row + 1][n];
    if (!(a + b + c + d === a + b + c + d)) continue; // no gasket at a corner
    const over = (a > level) + (b > level) + (c > level) + (d > level);
    if (over === 0 || over === 4) continue;
    const at = [];
    if ((a > level) !== (b > level)) at.push([cross(a, b, x[n], x[n + 1]), y[row]]);
    if ((b > level) !== (c > level)) at.push([x[n + 1], cross(b, c, y[row], y[row + 1])]);
    if ((c > level) !== (d > level)) at.push([cross(d, c, x[n], x[n + 1]), y[row + 1]]);
    if ((d > level) !== (a > level)) at.push([x[n], cross(a, d, y[row], y[row + 1])]);
    for (let one = 0; one + 1 < at.length; one += 2) {
      found.x.push(at[one][0], at[one + 1][0], null); found.y.push(at[one][1], at[one + 1][1], null);
    }
  }
  return found;
}

function circle(x, y, diameter) {
  const turn = Array.from({ length: 91 }, (_, n) => (n * 4 * Math.PI) / 180);
  return [turn.map((a) => x + (diameter / 2) * Math.cos(a)), turn.map((a) => y + (diameter / 2) * Math.sin(a))];
}

// the place along all sealing lines that bears least for what it needs, in the plan
function weakest(drawn, lines) {
  let found = null;
  lines.forEach((line, number) => line.pressure.forEach((pressure, n) => {
    const share = pressure / Math.max(line.need, 1e-9);
    if (line.at.length > 1 && (!found || share < found.share)) found = { share, pressure, number, turn: (line.at[n] * Math.PI) / 180 };
  }));
  if (!found) return null;
  const bore = drawn.bores.find((one) => one.number === found.number), radius = drawn.sealing_diameter / 2;
  return { x: bore.x + radius * Math.cos(found.turn), y: bore.y + radius * Math.sin(found.turn), pressure: found.pressure };
}

function drawPlan(place, drawn, told, units, forces, lines) {
  const z = unpacked(told.pressure, drawn.y.length, drawn.x.length);
  const top = scaleEnd(z), need = (lines.find((one) => one.fired) || lines[0]).need, worst = weakest(drawn, lines);
  const bar = { title: { text: "pressure, " + units.pressure, side: "right" }, thickness: 14, len: 0.9, tick0: 0, dtick: top / 4 };
  const marker = { color: [0, top], cmin: 0, cmax: top, colorscale: SCALE, showscale: true, colorbar: bar, opacity: 0 };
  const traces = [{ type: "scatter", mode: "markers", x: [drawn.x[0], drawn.x[0]], y: [drawn.y[0], drawn.y[0]], marker, hoverinfo: "skip" }];
  if (need > 0) traces.push({ type: "scatter", mode: "lines", ...levelLine(drawn.x, drawn.y, z, need), line: { color: "#ffffff", width: 1.6 }, hoverinfo: "skip" });
  const rounds = { x: [], y: [] };
  for (const bore of drawn.bores) {
    const [x, y] = circle(bore.x, bore.y, drawn.sealing_diameter);
    rounds.x.push(...x, null); rounds.y.push(...y, null);
  }
  traces.push({ type: "scatter", mode: "lines", ...rounds, line: { color: INK, width: 1.2, dash: "dash" }, hoverinfo: "skip" });
  if (worst) traces.push({
    type: "scatter", mode: "markers", x: [worst.x], y: [worst.y], marker: { symbol: "x", size: 11, color: COLOURS.firing, line: { color: "#fff", width: 1.5 } },
    hovertemplate: "least for its need: %{text}<extra></extra>", text: [worst.pressure.toPrecision(3) + " " + units.pressure],
  });
  const notes = drawn.studs.map((one) => ({
    x: one.x, y: one.y, text: Number(forces[one.number].toPrecision(3)).toString(), showarrow: false,
    font: { size: 12, color: INK }, bgcolor: "rgba(255,255,255,0.85)", borderpad: 1,
  }));
  for (const bore of drawn.bores) notes.push({
    x: bore.x, y: bore.y, text: (drawn.bores.length > 1 ? "bore " + (bore.number + 1) + "<br>" : "") + (bore.fired ? "fires" : "not fired"),
    showarrow: false, font: { size: 12, color: QUIET },
  });
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 8, b: 42 }, showlegend: false, annotations: notes, plot_bgcolor: "#fff",
    images: [painted(drawn, z, top)],
    xaxis: axis("along the engine, " + units.length, { range: padded(drawn.x), showgrid: false, constrain: "domain" }),
    yaxis: axis("across, " + units.length, { scaleanchor: "x", range: padded(drawn.y), showgrid: false, constrain: "domain" }),
  };
  document.getElementById(place).onmousemove = (event) => tell(event, drawn, z, units);
  return Plotly.react(place, traces, layout, TOOLS);
}

// pressures as a picture of one pixel for each place of the grid: with the line of need in half the time of the library's heat map
function painted(drawn, z, top) {
  const wide = drawn.x.length, high = drawn.y.length, canvas = document.createElement("canvas");
  canvas.width = wide; canvas.height = high;
  const pen = canvas.getContext("2d"), picture = pen.createImageData(wide, high);
  for (let row = 0; row < high; row++) for (let n = 0; n < wide; n++) {
    const value = z[row][n], at = 4 * ((high - 1 - row) * wide + n);
    if (value !== value) continue; // no gasket
    const colour = TABLE[Math.min(255, Math.max(0, Math.round((255 * value) / top)))];
    picture.data[at] = colour[0]; picture.data[at + 1] = colour[1]; picture.data[at + 2] = colour[2]; picture.data[at + 3] = 255;
  }
  pen.putImageData(picture, 0, 0);
  const dx = drawn.x[1] - drawn.x[0], dy = drawn.y[1] - drawn.y[0];
  return {
    source: canvas.toDataURL(), xref: "x", yref: "y", layer: "below", sizing: "stretch", x: drawn.x[0] - dx / 2, y: drawn.y.at(-1) + dy / 2,
    sizex: wide * dx, sizey: high * dy,
  };
}

// the pressure under the pointer
function tell(event, drawn, z, units) {
  const place = event.currentTarget, { xaxis, yaxis } = place._fullLayout, box = place.getBoundingClientRect();
  if (!xaxis || !yaxis) return;
  const near = (places, at) => Math.round((at - places[0]) / (places[1] - places[0]));
  const n = near(drawn.x, xaxis.p2d(event.clientX - box.left - xaxis._offset)), row = near(drawn.y, yaxis.p2d(event.clientY - box.top - yaxis._offset));
  const value = z[row] && z[row][n];
  place.title = value >= 0 ? `${value.toPrecision(3)} ${units.pressure}` : "";
}

function padded(places) {
  const room = 0.06 * (places.at(-1) - places[0]);
  return [places[0] - room, places.at(-1) + room];
}

function drawRelief(place, drawn, told, units) {
  const every = drawn.x.length * drawn.y.length > 12000 ? 2 : 1;
  const z = unpacked(told.pressure, drawn.y.length, drawn.x.length);
  const top = scaleEnd(z);
  const rows = z.filter((_, n) => n % every === 0).map((row) => Array.from(row).filter((_, n) => n % every === 0));
  const x = drawn.x.filter((_, n) => n % every === 0), y = drawn.y.filter((_, n) => n % every === 0);
  const wide = drawn.x.at(-1) - drawn.x[0], deep = drawn.y.at(-1) - drawn.y[0], most = Math.max(wide, deep);
  const trace = {
    type: "surface", x, y, z: rows, cmin: 0, cmax: top, colorscale: SCALE,
    colorbar: { title: { text: "pressure, " + units.pressure, side: "right" }, thickness: 14, len: 0.8, tick0: 0, dtick: top / 4 },
    hovertemplate: "%{z:.3g} " + units.pressure + "<extra></extra>", contours: { z: { show: false } },
  };
  const layout = {
    font: FONT, margin: { l: 0, r: 0, t: 0, b: 0 }, uirevision: "kept",
    scene: {
      aspectmode: "manual", aspectratio: { x: (1.6 * wide) / most, y: (1.6 * deep) / most, z: 0.55 },
      xaxis: { title: { text: "along, " + units.length } }, yaxis: { title: { text: "across, " + units.length } },
      zaxis: { title: { text: "pressure, " + units.pressure }, range: [0, 1.15 * top] },
      camera: { eye: { x: 1.35, y: -1.6, z: 1.1 } },
    },
  };
  return Plotly.react(place, [trace], layout, TOOLS);
}

// along the sealing line of a bore over the angle, or of one stud over the radius
function drawLine(place, states, lines, units, whole, pinned) {
  const traces = [];
  states.forEach((state, n) => lines[n].forEach((line, bore) => {
    const name = state.name + (lines[n].length > 1 ? ", bore " + (bore + 1) : "");
    if (lines[n].length > 1 && !(bore === 0 || line.fired)) return;
    const look = { color: COLOURS[state.kind] || INK, dash: DASHES[state.kind], width: 2 };
    const apart = parted(line);
    traces.push({ type: "scatter", mode: "lines", x: apart.x, y: apart.y, name, line: look, hovertemplate: "%{y:.3g} " + units.pressure });
    if (state.gas && line.fired) traces.push({
      type: "scatter", mode: "lines", x: [line.at[0], line.at.at(-1)], y: [line.need, line.need],
      name: "needed, " + state.name, line: { color: look.color, width: 1.3, dash: "dashdot" }, hoverinfo: "skip",
    });
    if (pinned && state.gas && pinned[n] && pinned[n][bore]) {
      const other = parted(pinned[n][bore]);
      traces.push({ type: "scatter", mode: "lines", x: other.x, y: other.y, name: "pinned, " + state.name, line: { color: QUIET, width: 1.3, dash: "dot" } });
    }
  }));
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: TOP,
    hovermode: "x unified",
    xaxis: axis(whole ? "angle from the row of bores, deg" : "radius from the stud's axis, " + units.length, whole ? { dtick: 15 } : {}),
    yaxis: axis("pressure, " + units.pressure, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
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
  const traces = [], names = states.map((one) => one.name);
  for (const [level, dash] of Object.entries(LEVELS)) {
    const studs = forces[level][0].length;
    for (let stud = 0; stud < studs; stud++) traces.push({
      type: "scatter", mode: "lines+markers", x: names, y: forces[level].map((one) => one[stud]), legendgroup: level,
      name: level + " preload", showlegend: stud === 0, line: { color: STUD, dash, width: 1.8 }, marker: { size: 5 },
      hovertemplate: (studs > 1 ? "stud " + (stud + 1) + ": " : "") + "%{y:.4g} " + units.force + "<extra>" + level + "</extra>",
    });
  }
  if (pinned) traces.push({
    type: "scatter", mode: "lines+markers", x: names, y: pinned.nominal.map((one) => Math.min(...one)), name: "pinned, nominal",
    line: { color: QUIET, width: 1.3, dash: "dot" }, marker: { size: 4, symbol: "x" },
  });
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: TOP,
    xaxis: axis("", { type: "category" }), yaxis: axis("force, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}

// forces over stretch while the studs are tightened, and beside it what gas does to them
function drawDiagram(place, told, units, pinned) {
  const traces = [], full = told.stretch.at(-1), wide = told.closed[0];
  const curve = (x, y, name, color, look) => traces.push({ type: "scatter", mode: "lines", x, y, name, line: { color, width: 2.2, ...look }, hovertemplate: "%{y:.4g} " + units.force });
  curve(told.stretch, told.force, "stud", COLOURS.assembly);
  curve(told.closed, told.force, "clamped parts", COLOURS.cold, { dash: "dash" });
  if (pinned) curve([...pinned.stretch, null, ...pinned.closed], [...pinned.force, null, ...pinned.force], "pinned", QUIET, { width: 1.2, dash: "dot" });
  if (told.gas) {
    const { rest, fired, clamp } = told.gas, at = full * (fired / told.force.at(-1));
    traces.push({
      type: "scatter", mode: "lines+markers", x: [at, at], y: [fired, clamp], name: told.gas.state,
      line: { color: COLOURS.firing, width: 1.6 }, marker: { size: 8, symbol: ["triangle-up", "triangle-down"], color: COLOURS.firing }, hovertemplate: "%{y:.4g} " + units.force,
    });
    traces.push({ type: "scatter", mode: "markers", x: [full * (rest / told.force.at(-1))], y: [rest], name: "hot, no gas", marker: { size: 9, symbol: "circle-open", color: COLOURS.hot, line: { width: 2 } }, hovertemplate: "%{y:.4g} " + units.force });
  }
  const layout = {
    font: FONT, height: 340, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: TOP,
    xaxis: axis("overlap pulled in, " + told.unit, { range: [0, 1.06 * Math.max(wide, full)] }),
    yaxis: axis("force of one stud, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}

function drawService(place, told, units) {
  const look = { type: "scatter", mode: "lines+markers", x: told.names, marker: { size: 5 }, hovertemplate: "%{y:.4g} " + units.force };
  const traces = [
    { ...look, y: told.force, name: "at the step's temperature", line: { color: STUD, width: 1.8 } },
    { ...look, mode: "markers", y: told.fired, name: "with gas", marker: { size: 8, symbol: "triangle-up", color: COLOURS.firing } },
  ];
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 110 }, height: 340, legend: TOP,
    xaxis: axis("", { type: "category", tickangle: -40 }), yaxis: axis("clamp of one stud, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}
