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

function drawRelief(place, drawn, told, units) {
  const { grid } = drawn, { wide: columns, high, low, step } = grid, values = gridded(grid, told.pressure), top = told.ticks.at(-1), every = 2;
  const along = Array.from({ length: Math.ceil(columns / every) }, (_, n) => n * every), up = Array.from({ length: Math.ceil(high / every) }, (_, n) => n * every);
  const rows = up.map((row) => along.map((n) => { const one = values[row * columns + n]; return one === one ? one : null; }));
  const x = along.map((n) => low[0] + n * step), y = up.map((row) => low[1] + row * step);
  const wide = columns * step, deep = high * step, most = Math.max(wide, deep);
  const trace = {
    type: "surface", x, y, z: rows, cmin: 0, cmax: top, colorscale: SCALE,
    colorbar: { title: { text: drawn.bar, side: "right" }, thickness: 14, len: 0.8, tick0: 0, dtick: top / 4 },
    hovertemplate: "%{z:.3g} " + units.pressure + "<extra></extra>", contours: { z: { show: false } },
  };
  const layout = {
    font: FONT, margin: { l: 0, r: 0, t: 0, b: 0 }, uirevision: "kept",
    scene: {
      aspectmode: "manual", aspectratio: { x: (1.6 * wide) / most, y: (1.6 * deep) / most, z: 0.55 },
      xaxis: { title: { text: drawn.across } }, yaxis: { title: { text: drawn.up } },
      zaxis: { title: { text: drawn.bar }, range: [0, 1.15 * top] },
      camera: { eye: { x: 1.4, y: -1.7, z: 1.15 }, center: { x: 0, y: 0, z: -0.2 } },
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
  curve(told.stretch, told.force, "stud, closed-form stretch", COLOURS.assembly);
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
