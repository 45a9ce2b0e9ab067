"use strict";
// The gasket in plan: the panel that reports draw, painted here within milliseconds.
const WEAKEST = JSON.parse(document.getElementById("start").textContent).fails;
const POINTS = 300; // of the grid along the longer side

function packed(text, Kind) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let n = 0; n < raw.length; n++) bytes[n] = raw.charCodeAt(n);
  return new Kind(bytes.buffer);
}

// every point of a regular grid with the triangle it lies in, in any copy of the cell: corners and their shares
function gridOf(drawn) {
  const places = packed(drawn.places, Float32Array), corners = packed(drawn.triangles, Uint32Array), count = places.length / 2;
  const [low, top] = [drawn.low, drawn.high], step = Math.max(top[0] - low[0], top[1] - low[1]) / POINTS;
  const wide = Math.round((top[0] - low[0]) / step) + 1, high = Math.round((top[1] - low[1]) / step) + 1;
  const corner = new Uint32Array(3 * wide * high), share = new Float32Array(3 * wide * high), on = new Uint8Array(wide * high);
  for (const [a, b, c, d, right, up] of drawn.images) for (let t = 0; t < corners.length; t += 3) {
    const x = [], y = [];
    for (let k = 0; k < 3; k++) {
      const px = places[corners[t + k]], py = places[count + corners[t + k]];
      x.push((a * px + b * py + right - low[0]) / step); y.push((c * px + d * py + up - low[1]) / step);
    }
    const area = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0]);
    if (area === 0) continue;
    for (let row = Math.max(0, Math.ceil(Math.min(...y) - 1e-6)); row <= Math.min(high - 1, Math.max(...y) + 1e-6); row++)
      for (let n = Math.max(0, Math.ceil(Math.min(...x) - 1e-6)); n <= Math.min(wide - 1, Math.max(...x) + 1e-6); n++) {
        const first = ((x[1] - n) * (y[2] - row) - (x[2] - n) * (y[1] - row)) / area;
        const second = ((x[2] - n) * (y[0] - row) - (x[0] - n) * (y[2] - row)) / area, third = 1 - first - second;
        if (first < -1e-5 || second < -1e-5 || third < -1e-5) continue;
        const at = row * wide + n;
        on[at] = 1; corner.set(corners.subarray(t, t + 3), 3 * at); share.set([first, second, third], 3 * at);
      }
  }
  return { wide, high, low, step, corner, share, on, places, count, beyond: beyondOf(on, wide, high) };
}

// points just beyond the gasket, each with the nearest one on it: its edge is cut sharp afterwards
function beyondOf(on, wide, high) {
  const found = [];
  for (let row = 0; row < high; row++) for (let n = 0; n < wide; n++) {
    if (on[row * wide + n]) continue;
    let best = -1, near = 9;
    for (let up = -2; up <= 2; up++) for (let right = -2; right <= 2; right++) {
      const at = (row + up) * wide + n + right;
      if (up * up + right * right < near && row + up >= 0 && row + up < high && n + right >= 0 && n + right < wide && on[at]) { best = at; near = up * up + right * right; }
    }
    if (best >= 0) found.push(row * wide + n, best);
  }
  return found;
}

// the gasket's area on a canvas like another, made once for every size; filling closes the triangles: closePath asks
// browsers for the bounds of all that was drawn before, which takes seconds over ten thousands of them
function areaOf(drawn, canvas, X, Y, sharp) {
  const name = `${canvas.width} ${canvas.height} ${X(0)} ${Y(0)}`;
  if (drawn.area && drawn.area.name === name) return drawn.area.canvas;
  const area = document.createElement("canvas"), corners = packed(drawn.triangles, Uint32Array), { places, count } = drawn.grid;
  Object.assign(area, { width: canvas.width, height: canvas.height });
  const pen = area.getContext("2d");
  pen.setTransform(sharp, 0, 0, sharp, 0, 0);
  for (const [a, b, c, d, right, up] of drawn.images) for (let t = 0; t < corners.length; t += 3) for (let k = 0; k < 3; k++) {
    const px = places[corners[t + k]], py = places[count + corners[t + k]];
    pen[k ? "lineTo" : "moveTo"](X(a * px + b * py + right), Y(c * px + d * py + up));
  }
  pen.fill();
  drawn.area = { name, canvas: area };
  return area;
}

// pressures on the grid, NaN where there is no gasket
function gridded({ on, corner, share }, text) {
  const p = packed(text, Float32Array), found = new Float32Array(on.length).fill(NaN);
  for (let n = 0, k = 0; n < on.length; n++, k += 3) if (on[n]) found[n] = share[k] * p[corner[k]] + share[k + 1] * p[corner[k + 1]] + share[k + 2] * p[corner[k + 2]];
  return found;
}

function painted({ wide, high, beyond }, known, top) {
  const values = known.slice();
  for (let n = 0; n < beyond.length; n += 2) values[beyond[n]] = known[beyond[n + 1]];
  const canvas = document.createElement("canvas");
  Object.assign(canvas, { width: wide, height: high });
  const pen = canvas.getContext("2d"), picture = pen.createImageData(wide, high);
  for (let row = 0; row < high; row++) for (let n = 0; n < wide; n++) {
    const value = values[row * wide + n];
    if (value !== value) continue;
    picture.data.set(TABLE[Math.min(255, Math.max(0, Math.round((255 * value) / top)))], 4 * ((high - 1 - row) * wide + n));
    picture.data[4 * ((high - 1 - row) * wide + n) + 3] = 255;
  }
  pen.putImageData(picture, 0, 0);
  return canvas;
}

// a canvas that fills a place; fresh where there is none
function canvasIn(place, high) {
  let canvas = place.querySelector("canvas.plan");
  if (!canvas) { canvas = document.createElement("canvas"); canvas.className = "plan"; place.replaceChildren(canvas); }
  const sharp = window.devicePixelRatio || 1, wide = place.clientWidth;
  Object.assign(canvas, { width: Math.round(wide * sharp), height: Math.round(high * sharp) });
  canvas.style.width = "100%"; canvas.style.height = high + "px";
  const pen = canvas.getContext("2d");
  pen.setTransform(sharp, 0, 0, sharp, 0, 0);
  pen.font = "12px system-ui, sans-serif";
  return { canvas, pen, wide, sharp };
}

function drawPlan(id, drawn, told, units) {
  const place = document.getElementById(id), { grid, low, high } = drawn, room = { left: 50, right: 82, above: 8, below: 44 };
  const most = Math.max(280, Math.min(620, window.innerHeight - 180)), spanX = high[0] - low[0], spanY = high[1] - low[1];
  const scale = Math.min((place.clientWidth - room.left - room.right) / spanX, (most - room.above - room.below) / spanY);
  if (scale <= 0) return; // no room at all
  const { canvas, pen, wide, sharp } = canvasIn(place, spanY * scale + room.above + room.below), top = told.ticks.at(-1);
  const left = room.left + (wide - room.left - room.right - spanX * scale) / 2;
  const X = (x) => left + (x - low[0]) * scale, Y = (y) => room.above + (high[1] - y) * scale;
  const values = gridded(grid, told.pressure), half = grid.step / 2;
  pen.save();
  pen.beginPath(); pen.rect(left, room.above, spanX * scale, spanY * scale); pen.clip();
  pen.imageSmoothingQuality = "high";
  const layer = document.createElement("canvas"), coat = layer.getContext("2d");
  Object.assign(layer, { width: canvas.width, height: canvas.height });
  coat.setTransform(sharp, 0, 0, sharp, 0, 0);
  coat.drawImage(painted(grid, values, top), X(low[0] - half), Y(low[1] - half + grid.high * grid.step), grid.wide * grid.step * scale, grid.high * grid.step * scale);
  coat.globalCompositeOperation = "destination-in";
  coat.drawImage(areaOf(drawn, canvas, X, Y, sharp), 0, 0, canvas.width / sharp, canvas.height / sharp);
  pen.drawImage(layer, 0, 0, canvas.width / sharp, canvas.height / sharp);
  hatch(pen, drawn, packed(told.short, Uint32Array), X, Y);
  const ends = packed(told.sealed, Float32Array);
  for (const [width, colour] of [[2.6, "#fff"], [1.3, INK]]) {
    pen.beginPath(); pen.lineWidth = width; pen.strokeStyle = colour; pen.lineCap = "round";
    for (let n = 0; n < ends.length; n += 4) { pen.moveTo(X(ends[n]), Y(ends[n + 1])); pen.lineTo(X(ends[n + 2]), Y(ends[n + 3])); }
    pen.stroke();
  }
  pen.lineWidth = 1; pen.strokeStyle = INK;
  for (const one of [...told.bores, ...told.studs]) { pen.beginPath(); pen.arc(X(one.x), Y(one.y), one.radius * scale, 0, 2 * Math.PI); pen.stroke(); }
  pen.strokeStyle = WEAKEST; pen.lineWidth = 2.4; pen.setLineDash([7, 2.5]);
  for (const one of told.studs) if (one.turned) { pen.beginPath(); pen.arc(X(one.x), Y(one.y), 1.35 * one.radius * scale, 0, 2 * Math.PI); pen.stroke(); }
  pen.setLineDash([]);
  pen.restore();
  for (const bore of told.bores) for (const [x, y] of bore.weakest) diamond(pen, X(x), Y(y));
  words(pen, told, X, Y, scale);
  planAxes(pen, drawn, X, Y, [left, room.above + spanY * scale, left + spanX * scale, room.above]);
  colours(pen, told.ticks, left + spanX * scale + 14, room.above + 0.08 * spanY * scale, 0.84 * spanY * scale, drawn.bar);
  const tellAt = () => { // told anew where the picture is drawn anew under the mouse
    const at = canvas.getBoundingClientRect(), [x, y] = canvas.pointedAt, n = Math.round(((x - at.left - left) / scale) / grid.step), row = Math.round((spanY - (y - at.top - room.above) / scale) / grid.step);
    const value = n >= 0 && n < grid.wide && row >= 0 && row < grid.high ? values[row * grid.wide + n] : NaN;
    canvas.title = value >= 0 ? `${value.toPrecision(3)} ${units.pressure}` : "";
  };
  canvas.onmousemove = (event) => { canvas.pointedAt = [event.clientX, event.clientY]; tellAt(); };
  canvas.onmouseleave = () => { canvas.pointedAt = null; canvas.title = ""; };
  if (canvas.pointedAt) tellAt();
}

// what of the sealing ring presses less than needed, crossed out
function hatch(pen, drawn, short, X, Y) {
  if (!short.length) return;
  const { places, count } = drawn.grid;
  pen.save(); pen.beginPath();
  for (const [a, b, c, d, right, up] of drawn.images) for (let t = 0; t < short.length; t += 3) {
    for (let k = 0; k < 3; k++) {
      const px = places[short[t + k]], py = places[count + short[t + k]];
      pen[k ? "lineTo" : "moveTo"](X(a * px + b * py + right), Y(c * px + d * py + up));
    }
  }
  pen.fillStyle = WEAKEST; pen.fill(); pen.clip();
  pen.beginPath(); pen.strokeStyle = "#fff"; pen.lineWidth = 0.8;
  const size = pen.canvas.width + pen.canvas.height;
  for (let at = -size; at < size; at += 6) { pen.moveTo(at, 0); pen.lineTo(at + size, size); pen.moveTo(at + size, 0); pen.lineTo(at, size); }
  pen.stroke(); pen.restore();
}

function diamond(pen, x, y) {
  pen.beginPath(); pen.moveTo(x, y - 6); pen.lineTo(x + 6, y); pen.lineTo(x, y + 6); pen.lineTo(x - 6, y); pen.closePath();
  pen.fillStyle = WEAKEST; pen.fill(); pen.lineWidth = 1.2; pen.strokeStyle = "#fff"; pen.stroke();
}

// how every bore seals, within it, and the force of every stud
function words(pen, told, X, Y, scale) {
  pen.textAlign = "center"; pen.textBaseline = "middle";
  for (const bore of told.bores) {
    pen.font = "12px system-ui, sans-serif";
    const widest = Math.max(...bore.words.map((one) => pen.measureText(one).width), 1);
    const size = Math.min(13, (12 * 1.6 * bore.radius * scale) / widest);
    pen.font = `${size}px system-ui, sans-serif`; pen.fillStyle = INK;
    bore.words.forEach((one, n) => pen.fillText(one, X(bore.x), Y(bore.y) + (n - (bore.words.length - 1) / 2) * 1.35 * size));
  }
  pen.font = "11.5px system-ui, sans-serif";
  for (const stud of told.studs) {
    const wide = pen.measureText(stud.force).width + 10;
    if (wide > 2 * stud.radius * scale) { pen.beginPath(); pen.roundRect(X(stud.x) - wide / 2, Y(stud.y) - 9, wide, 18, 9); pen.fillStyle = "#fff"; pen.fill(); pen.lineWidth = 1; pen.strokeStyle = INK; pen.stroke(); }
    pen.fillStyle = INK; pen.fillText(stud.force, X(stud.x), Y(stud.y) + 0.5);
  }
}

function roundStep(span) {
  const power = 10 ** Math.floor(Math.log10(span));
  return [0.2, 0.5, 1].find((one) => span / (one * power) <= 6.5) * power || power;
}

function planAxes(pen, drawn, X, Y, [left, bottom, right, top]) {
  const { low, high } = drawn, step = Math.max(...[0, 1].map((n) => roundStep(high[n] - low[n])));
  pen.strokeStyle = EDGE; pen.fillStyle = QUIET; pen.lineWidth = 1; pen.font = "11.5px system-ui, sans-serif";
  pen.beginPath(); pen.moveTo(left, top); pen.lineTo(left, bottom); pen.lineTo(right, bottom);
  const ticks = (n) => Array.from({ length: Math.floor(high[n] / step) - Math.ceil(low[n] / step) + 1 }, (_, k) => (Math.ceil(low[n] / step) + k) * step);
  pen.textAlign = "center"; pen.textBaseline = "top";
  for (const x of ticks(0)) { pen.moveTo(X(x), bottom); pen.lineTo(X(x), bottom + 4); pen.fillText(Number(x.toPrecision(6)), X(x), bottom + 6); }
  pen.textAlign = "right"; pen.textBaseline = "middle";
  for (const y of ticks(1)) { pen.moveTo(left, Y(y)); pen.lineTo(left - 4, Y(y)); pen.fillText(Number(y.toPrecision(6)), left - 6, Y(y)); }
  pen.stroke();
  pen.fillStyle = INK; pen.textAlign = "center"; pen.textBaseline = "bottom"; pen.fillText(drawn.across, (left + right) / 2, bottom + 40);
  pen.save(); pen.translate(left - 34, (top + bottom) / 2); pen.rotate(-Math.PI / 2); pen.fillText(drawn.up, 0, 0); pen.restore();
}

function colours(pen, ticks, left, top, tall, title) {
  const limit = ticks.at(-1);
  for (let n = 0; n < tall; n++) { pen.fillStyle = `rgb(${TABLE[Math.min(255, Math.round(255 * (1 - n / tall)))]})`; pen.fillRect(left, top + n, 13, 1.5); }
  pen.fillStyle = `rgb(${TABLE[255]})`; pen.beginPath(); pen.moveTo(left, top); pen.lineTo(left + 6.5, top - 7); pen.lineTo(left + 13, top); pen.fill();
  pen.fillStyle = QUIET; pen.textAlign = "left"; pen.textBaseline = "middle"; pen.font = "11.5px system-ui, sans-serif";
  for (const one of ticks) pen.fillText(Number(one.toPrecision(6)), left + 17, top + tall * (1 - one / limit));
  pen.save(); pen.translate(left + 54, top + tall / 2); pen.rotate(-Math.PI / 2); pen.textAlign = "center"; pen.fillStyle = INK;
  pen.fillText(title, 0, 0); pen.restore();
}

function planWords(told, units) {
  const short = told.short ? " Red, crossed: of the sealing ring, presses less than needed." : "";
  return `Outlined: what of the sealing ring presses as hard as needed.${short} Diamond: where a sealing line presses least. Number in a stud's hole: its force, ${units.force}.`;
}
