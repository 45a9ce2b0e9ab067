"use strict";
// The page as it is heard: units in words, what is said and when, pictures and graphs in words and as tables.
const UNIT_WORDS = {
  "N.m": "newton metres", bar: "bar", MPa: "megapascals", kN: "kilonewtons", N: "newtons", mm: "millimetres", um: "micrometres", degC: "degrees Celsius", deg: "degrees",
  "lbf.ft": "pound-feet", psi: "pounds per square inch", lbf: "pounds-force", in: "inches", thou: "thousandths of an inch", degF: "degrees Fahrenheit",
};
const REST = 500; // ms that a hand rests before it is told what came of the move
const MOST_ROWS = 25; // of a graph as a table

function spoken(unit) { return UNIT_WORDS[unit] ?? unit; }

// one region speaks for the whole page, and once a move: what is said is put off while more is moved
let saying = null, said = "";
function say(words) {
  if (words === said) return;
  said = words;
  clearTimeout(saying);
  saying = setTimeout(() => { document.getElementById("said").textContent = words; }, REST);
}

function hush() {
  clearTimeout(saying);
  if (said) { said = ""; document.getElementById("said").textContent = ""; }
}

// a button that cannot be pressed now keeps its place on the way through the page, and the focus where it has it
function able(button, can) { if (button.ariaDisabled !== String(!can)) button.ariaDisabled = String(!can); }
function pressable(button, press) { button.addEventListener("click", () => { if (button.ariaDisabled !== "true") press(); }); }

// the gasket in plan in words: how every bore seals, what the studs bear
function planSaid(told, units) {
  const bores = told.bores.filter((one) => one.words.length).map((one) => one.words.join(", "));
  const studs = told.studs.map((one) => one.force + (one.turned ? " (being turned)" : "")).join(", ");
  return `${bores.join("; ")}; studs bear ${studs} ${spoken(units.force)}; colours go up to ${told.ticks.at(-1)} ${spoken(units.pressure)}${told.short ? "; part of the sealing ring presses less than needed" : ""}`;
}

// the curves of a graph at the same places, as many as can be read; null where a curve has none
function rowsOf({ across, curves }) {
  const named = curves.filter((one) => one.told || one.name), all = [...new Set(named.flatMap((one) => one.x).filter((x) => x !== null))].sort((a, b) => a - b);
  const every = Math.ceil(all.length / MOST_ROWS), xs = all.filter((_, n) => n % every === 0 || n === all.length - 1);
  return { named, rows: xs.map((x) => [across.names ? across.names[x] : Number(x.toPrecision(4)), ...named.map((one) => one.y[one.x.indexOf(x)] ?? null)]) };
}

function fillFigures(place, graph) {
  const { named, rows } = rowsOf(graph), table = document.createElement("table"), head = table.createTHead().insertRow();
  table.createCaption().textContent = `${place.dataset.named}; ${graph.up}`;
  const cell = (line, kind, text, scope) => { const one = document.createElement(kind); one.textContent = text; if (scope) one.scope = scope; line.append(one); };
  for (const text of [graph.across.names ? "state" : graph.across.title, ...named.map((one) => one.told || one.name)]) cell(head, "th", text, "col");
  const body = table.createTBody();
  for (const [at, ...values] of rows) {
    const line = body.insertRow();
    cell(line, "th", at, "row");
    for (const one of values) cell(line, "td", one === null ? "" : Number(one.toPrecision(4)));
  }
  return table;
}

// a graph as a table, filled when it is opened and kept up while it is
function figuresOf(place, graph) {
  let whole = place.nextElementSibling;
  if (!whole || !whole.matches("details.figures")) {
    whole = document.createElement("details"); whole.className = "figures";
    whole.innerHTML = `<summary>As a table<span class="unseen">: ${plain(place.dataset.named)}</span></summary><div class="scroll" tabindex="0" role="region"></div>`;
    whole.lastElementChild.setAttribute("aria-label", place.dataset.named + ", table");
    whole.addEventListener("toggle", () => figuresOf(place, place.graph));
    place.after(whole);
  }
  whole.hidden = !graph;
  if (whole.open && graph) whole.lastElementChild.replaceChildren(fillFigures(place, graph));
}
