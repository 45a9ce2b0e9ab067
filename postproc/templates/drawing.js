"use strict";
// The drawings of the live page. One function for each; all take what the server told, in the reader's units.
const COLOURS = { assembly: "#3b6ea5", settled: "#7fa8c9", hot: "#d98324", firing: "#a8323e", cold: "#2f8f83" };
const DASHES = { assembly: "solid", settled: "dash", hot: "solid", firing: "solid", cold: "dot" };
const LEVELS = { least: "dot", nominal: "solid", greatest: "dash" };
const INK = "#22252b", QUIET = "#666c75", RULE = "#e6e8eb";
const TOOLS = { displaylogo: false, responsive: true, displayModeBar: false };
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
  const scale = { colorscale: "Viridis", zmin: 0, zmax: top };
  const bar = { title: { text: "pressure, " + units.pressure, side: "right" }, thickness: 14, len: 0.9, tick0: 0, dtick: top / 4 };
  const traces = [{
    type: "heatmap", x: drawn.x, y: drawn.y, z, ...scale, zsmooth: "fast", colorbar: bar,
    hovertemplate: "%{z:.3g} " + units.pressure + "<extra></extra>",
  }];
  if (need > 0) traces.push({
    type: "contour", x: drawn.x, y: drawn.y, z, contours: { start: need, end: need, size: 1, coloring: "none" },
    line: { color: "#ffffff", width: 1.6 }, showscale: false, hoverinfo: "skip", connectgaps: false,
  });
  const rounds = { x: [], y: [] };
  for (const bore of drawn.bores) {
    const [x, y] = circle(bore.x, bore.y, drawn.sealing_diameter);
    rounds.x.push(...x, null); rounds.y.push(...y, null);
  }
  traces.push({ type: "scatter", mode: "lines", ...rounds, line: { color: INK, width: 1.2, dash: "dash" }, hoverinfo: "skip" });
  if (worst) traces.push({
    type: "scatter", mode: "markers", x: [worst.x], y: [worst.y], marker: { symbol: "x", size: 11, color: "#a8323e", line: { color: "#fff", width: 1.5 } },
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
    xaxis: axis("along the engine, " + units.length, { range: padded(drawn.x), showgrid: false, constrain: "domain" }),
    yaxis: axis("across, " + units.length, { scaleanchor: "x", range: padded(drawn.y), showgrid: false, constrain: "domain" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
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
    type: "surface", x, y, z: rows, cmin: 0, cmax: top, colorscale: "Viridis",
    colorbar: { title: { text: "pressure, " + units.pressure, side: "right" }, thickness: 14, len: 0.8, tick0: 0, dtick: top / 4 },
    hovertemplate: "%{z:.3g} " + units.pressure + "<extra></extra>", contours: { z: { show: false } },
  };
  const layout = {
    font: FONT, margin: { l: 0, r: 0, t: 0, b: 0 }, uirevision: "kept",
    scene: {
      aspectmode: "manual", aspectratio: { x: (1.6 * wide) / most, y: (1.6 * deep) / most, z: 0.55 },
      xaxis: { title: { text: "along, " + units.length } }, yaxis: { title: { text: "across, " + units.length } },
      zaxis: { title: { text: "pressure, " + units.pressure }, range: [0, 1.15 * top] },
      camera: { eye: { x: 1.15, y: -1.35, z: 1.0 } },
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
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: { orientation: "h", y: -0.28, font: { size: 11.5 } },
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
      name: level + " preload", showlegend: stud === 0, line: { color: "#2d4a6b", dash, width: 1.8 }, marker: { size: 5 },
      hovertemplate: (studs > 1 ? "stud " + (stud + 1) + ": " : "") + "%{y:.4g} " + units.force + "<extra>" + level + "</extra>",
    });
  }
  if (pinned) traces.push({
    type: "scatter", mode: "lines+markers", x: names, y: pinned.nominal.map((one) => Math.min(...one)), name: "pinned, nominal",
    line: { color: QUIET, width: 1.3, dash: "dot" }, marker: { size: 4, symbol: "x" },
  });
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: { orientation: "h", y: -0.25, font: { size: 11.5 } },
    xaxis: axis("", { type: "category" }), yaxis: axis("force, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}

// forces over stretch while the studs are tightened, and beside it what gas does to them
function drawDiagram(place, told, units, pinned) {
  const traces = [], stud = "#3b6ea5", clamped = "#2f8f83", full = told.stretch.at(-1), wide = told.closed[0];
  const curve = (x, y, name, color, look) => traces.push({ type: "scatter", mode: "lines", x, y, name, line: { color, width: 2.2, ...look }, hovertemplate: "%{y:.4g} " + units.force });
  curve(told.stretch, told.force, "stud", stud);
  curve(told.closed, told.force, "clamped parts and gasket", clamped, { dash: "dash" });
  if (pinned) {
    curve(pinned.stretch, pinned.force, "pinned, stud", QUIET, { width: 1.2, dash: "dot" });
    curve(pinned.closed, pinned.force, "pinned, clamped", QUIET, { width: 1.2, dash: "dot" });
  }
  if (told.gas) {
    const { rest, fired, clamp } = told.gas, at = full * (fired / told.force.at(-1));
    traces.push({
      type: "scatter", mode: "lines+markers", x: [at, at], y: [fired, clamp], name: told.gas.state + ": gas between the two",
      line: { color: COLOURS.firing, width: 1.6 }, marker: { size: 8, symbol: ["triangle-up", "triangle-down"], color: COLOURS.firing }, hovertemplate: "%{y:.4g} " + units.force,
    });
    traces.push({ type: "scatter", mode: "markers", x: [full * (rest / told.force.at(-1))], y: [rest], name: "at its temperature, without gas", marker: { size: 9, symbol: "circle-open", color: COLOURS.hot, line: { width: 2 } }, hovertemplate: "%{y:.4g} " + units.force });
  }
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 40 }, legend: { orientation: "h", y: -0.25, font: { size: 11.5 } },
    xaxis: axis("overlap pulled in, " + told.unit, { range: [0, 1.06 * Math.max(wide, full)] }),
    yaxis: axis("force of one stud, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}

function drawService(place, told, units) {
  const look = { type: "scatter", mode: "lines+markers", x: told.names, marker: { size: 5 }, hovertemplate: "%{y:.4g} " + units.force };
  const traces = [
    { ...look, y: told.force, name: "at the step's temperature", line: { color: "#2d4a6b", width: 1.8 } },
    { ...look, mode: "markers", y: told.fired, name: "with gas", marker: { size: 8, symbol: "triangle-up", color: COLOURS.firing } },
  ];
  const layout = {
    font: FONT, margin: { l: 52, r: 8, t: 4, b: 110 }, height: 380, legend: { orientation: "h", y: 1.12, font: { size: 11.5 } },
    xaxis: axis("", { type: "category", tickangle: -40 }), yaxis: axis("clamp of one stud, " + units.force, { rangemode: "tozero" }),
  };
  return Plotly.react(place, traces, layout, TOOLS);
}
