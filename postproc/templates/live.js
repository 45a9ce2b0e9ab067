"use strict";
// What is moved, what was asked, and what came of it. The address carries all of it, so that it can be kept and sent.
const start = JSON.parse(document.getElementById("start").textContent);
const $ = (id) => document.getElementById(id);
const now = { engine: start.engine, units: start.units, model: "whole", level: "least", state: -1, view: "flat", changes: {} };
const SILENT = "the server does not answer; is it still running?";
const FIND = "find instants of a warm-up", AS_STATED = "as the file states";
const WARM_UP = "warm-up"; // how the names of its points begin
let points = [], pointsOf = ""; // what else was moved when they were found
let serviceFound = null; // of what, and the words beside it
const CANCELLED = "cancelled", [SERVICE, TIGHTENING, WARMING] = ["service", "tightening", "warm-up"].map((id) => $(id + "-note").textContent);
const places = new Map(); // of the controls, by path
let controls = [], whole = true, drawn = null, drawnKey = "", diagramOf = "", answer = null, pinned = null, shownChanges = {};
let past = [], future = [], asking = false, chosen = "", serial = 0, answered = 0, begun = 0, waitKey = "", moveTime = 0, settling = null, verdictAsked = null;
const PAUSE = 250; // ms without a move, after which curves are solved
const PAGE = Math.random().toString(36).slice(2), timings = [], verdicts = [];
window.headjointLive = { timings, verdicts, get shown() { return begun === serial && chosen === identity(now) && !waitKey; }, get answered() { return answered === serial && chosen === identity(now) && !asking && !waitKey; }, get answer() { return answer; } };

function identity({ engine, units, model }) { return new URLSearchParams({ engine, units, model }).toString(); }

function address() {
  const query = new URLSearchParams();
  for (const name of ["engine", "units", "model", "level", "state", "view"]) query.set(name, now[name]);
  for (const [path, value] of Object.entries(now.changes)) query.set("set." + path, value);
  return "?" + query.toString();
}

function readAddress() {
  const query = new URLSearchParams(location.search), number = /^-?[0-9.]+(e-?[0-9]+)?$/i;
  if (start.engines.includes(query.get("engine"))) now.engine = query.get("engine");
  if (["si", "workshop"].includes(query.get("units"))) now.units = query.get("units");
  if (["whole", "stud"].includes(query.get("model"))) now.model = query.get("model");
  if (["least", "nominal", "greatest"].includes(query.get("level"))) now.level = query.get("level");
  if (["flat", "relief"].includes(query.get("view"))) now.view = query.get("view");
  now.state = Number.parseInt(query.get("state") ?? "-1", 10) || (query.get("state") === "0" ? 0 : -1);
  now.changes = {};
  for (const [name, value] of query) if (name.startsWith("set.")) now.changes[name.slice(4)] = number.test(value) ? Number(value) : value;
}

async function post(place, body, until) {
  const sent = await fetch(place, { method: "POST", signal: until ? until.signal : null, headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
  if (sent.status >= 500) throw new Error("the server failed at this; it says why where it was started");
  const found = await sent.json();
  if (found.refused) throw new Error(found.refused);
  return found;
}

async function chooseEngine() {
  const query = identity(now);
  let found;
  try {
    found = await (await fetch("/engine?" + query)).json();
  } catch { trouble(SILENT); return; }
  if (query !== identity(now)) return;
  if (found.refused) { trouble(found.refused); return; }
  controls = found.controls; whole = found.whole && now.model === "whole";
  $("model-choice").hidden = !found.whole;
  $("engine").value = now.engine; $("model").value = now.model; $("units").value = now.units; $("level").value = now.level;
  document.title = found.title + ": headjoint live";
  drawn = null; drawnKey = "";
  if (query !== chosen) forget();
  chosen = query;
  const known = new Set(controls.map((one) => one.path));
  for (const path of Object.keys(now.changes)) if (!known.has(path)) delete now.changes[path];
  buildBench();
  moved();
}

// nothing of the engine before may be saved, pinned or told under the name of another
function forget() {
  answer = null; shownChanges = {};
  pin(null);
  document.body.classList.add("old");
  dropService();
  tightening.drop(); warmUp.drop(); says("tightening", TIGHTENING); says("warm-up", WARMING);
}

function dropService() { $("service-found").hidden = true; clearGraph("service"); serviceFound = null; says("service", SERVICE); }

// all that an answer depends on, for what is moved now or was by then
function stateOf(changes) { return identity(now) + JSON.stringify(Object.entries(changes).sort()); }

function outdateService() { if (serviceFound) outdated($("service-found"), "service", serviceFound, stateOf(now.changes), "run it again."); }

function pin(one) {
  pinned = one;
  $("pin").setAttribute("aria-pressed", pinned !== null); $("pin").textContent = pinned ? "Unpin" : "Pin this";
}

function buildBench() {
  const bench = $("bench"), groups = new Map();
  bench.replaceChildren(); places.clear();
  for (const one of controls) {
    if (!groups.has(one.group)) {
      const set = document.createElement("fieldset"), legend = document.createElement("legend");
      legend.textContent = one.condenses && !one.choices.length && whole ? one.group + " (a new one takes a minute)" : one.group; set.append(legend); bench.append(set); groups.set(one.group, set);
    }
    groups.get(one.group).append(one.choices.length ? choice(one) : slider(one));
  }
  const unseen = controls.filter((one) => !one.seen);
  if (unseen.length) {
    const note = document.createElement("p"), names = unseen.map((one) => one.label).join(", ");
    note.className = "quiet";
    note.textContent = whole ? `The engine's own mesh stands for head and block: nothing here changes with ${names}.` : `One stud does not see ${names}: choose the model in three dimensions.`;
    groups.get(unseen.at(-1).group).append(note);
  }
  $("warm-up").hidden = !groups.has("Heat");
  if (groups.has("Heat")) { groups.get("Heat").querySelector("legend").after(pointChoice()); points = []; pointsOf = besideHeat(); askPoints(false); }
}

function besideHeat() {
  const heat = new Set(controls.filter((one) => one.group === "Heat").map((one) => one.path));
  return JSON.stringify(Object.entries(now.changes).filter(([path]) => !heat.has(path)).sort());
}

// operating points set the temperatures together; those of a warm-up are found when they are asked for
function pointChoice() {
  const place = document.createElement("div"), line = document.createElement("div"), label = document.createElement("label"), select = document.createElement("select"), note = document.createElement("p");
  place.className = "move"; line.className = "line"; label.textContent = "operating point"; label.htmlFor = select.id = "point"; note.id = "point-note"; note.className = "quiet";
  select.addEventListener("change", () => {
    if (select.value === FIND) { showPoint(); askPoints(true); return; }
    const chosen = points.find((one) => one.name === select.value);
    remember();
    for (const one of controls) if (one.group === "Heat") { delete now.changes[one.path]; if (chosen && chosen.values[one.path] !== undefined && chosen.values[one.path] !== one.value) now.changes[one.path] = chosen.values[one.path]; }
    moved();
  });
  line.append(label, select); place.append(line, note);
  return place;
}

async function askPoints(find) {
  const query = identity(now), { engine, units, model } = now, changes = { ...now.changes }, beside = besideHeat();
  let found;
  try {
    do {
      found = await post("/points", { engine, units, model, changes, find });
      if (query !== identity(now) || (find && beside !== besideHeat())) return;
      points = found.points; pointsOf = beside;
      const left = found.stage ? `Warm-up of one stud: ${found.stage}${found.seconds ? ", " + Math.round(found.seconds) + " s" : ""}.` : found.problem || "";
      $("point-note").textContent = found.found ? "Warm-up: means of the parts at these instants, by the heat model of one stud (headjoint warmup has the whole field)." : left;
      if (find) say(found.stage ? `Warm-up of one stud: ${found.stage}` : $("point-note").textContent);
      if (found.stage) await new Promise((done) => setTimeout(done, 700));
    } while (found.stage);
  } catch (error) { $("point-note").textContent = error instanceof TypeError ? SILENT : error.message; }
  showPoint(found && found.found);
}

function showPoint(known) {
  const select = $("point"), heat = controls.filter((one) => one.group === "Heat"), at = (one, values) => values[one.path] ?? one.value;
  if (!select) return;
  if (known !== undefined) select.dataset.known = known || "";
  if (pointsOf !== besideHeat()) { // another joint warms up otherwise
    points = points.filter((one) => !one.name.startsWith(WARM_UP)); pointsOf = besideHeat();
    select.dataset.known = ""; $("point-note").textContent = ""; outdateWarmUp();
    if (warmUp.there && warmUp.of === pointsOf) askPoints(false); // undone: what was found is kept
  }
  const same = points.find((one) => heat.every((other) => at(other, one.values) === at(other, now.changes)));
  const names = [AS_STATED, ...points.map((one) => one.name), ...(select.dataset.known ? [] : [FIND])], other = heat.some((one) => one.path in now.changes) && !same;
  optionsIn(select, other ? ["moved", ...names] : names);
  select.value = other ? "moved" : same ? same.name : AS_STATED;
}

function row(one) {
  const row = document.createElement("div"), line = document.createElement("div"), label = document.createElement("label");
  row.className = "move"; line.className = "line"; places.set(one.path, { whole: row });
  label.textContent = one.label; label.htmlFor = "m-" + one.path;
  if (one.condenses) label.title = "another shape: meshed and condensed anew";
  line.append(label); row.append(line);
  return [row, line];
}

function slider(one) {
  const [place, line] = row(one), own = places.get(one.path), range = document.createElement("input"), field = document.createElement("input"), hold = document.createElement("span"), takes = document.createElement("p");
  takes.className = "takes";
  Object.assign(range, { type: "range", min: one.low, max: one.high, step: one.step, id: "m-" + one.path, disabled: !one.seen });
  Object.assign(field, { type: "number", min: one.low, max: one.high, step: "any", disabled: !one.seen });
  range.ariaLabel = field.ariaLabel = one.label + (one.unit ? ", " + spoken(one.unit) : "");
  Object.assign(own, { range, field });
  hold.append(field, one.unit ? " " + one.unit : ""); line.append(hold); place.append(range, takes);
  const takesIn = (unit) => `takes ${[one.low, one.high].map((x) => Number(x.toPrecision(4))).join(" to ")} ${unit}`.trim();
  const event = one.condenses ? "change" : "input";
  if (one.condenses) range.addEventListener("input", () => { field.value = range.value; });
  range.addEventListener(event, () => set(one, Number(range.value)));
  field.addEventListener("change", () => {
    const value = Number(field.value);
    const within = field.value !== "" && value >= one.low && value <= one.high;
    takes.textContent = within ? "" : takesIn(one.unit);
    if (within) set(one, value); else { field.value = Number(own.value.toPrecision(4)); say(`${one.label} ${takesIn(spoken(one.unit))}`); }
  });
  return place;
}

function choice(one) {
  const [place, line] = row(one), select = document.createElement("select");
  select.id = "m-" + one.path; places.get(one.path).select = select;
  for (const name of one.choices) select.append(new Option(name, name));
  select.addEventListener("change", () => set(one, select.value));
  line.append(select);
  return place;
}

function set(one, value) {
  remember();
  now.changes[one.path] = value;
  if (one.replaces) delete now.changes[one.replaces];
  if (value === one.value) delete now.changes[one.path];
  moved();
}

// moves in one drag are one step back
function remember() {
  if (settling === null) { past.push(JSON.stringify(now)); future = []; if (past.length > 200) past.shift(); }
  clearTimeout(settling);
  settling = setTimeout(() => { settling = null; history.pushState(null, "", address()); }, 500);
}

function goTo(text) {
  const before = now.engine + now.units + now.model;
  Object.assign(now, JSON.parse(text));
  history.pushState(null, "", address());
  if (now.engine + now.units + now.model === before) moved(); else chooseEngine();
}

function moved() {
  serial += 1;
  hush();
  outdateService(); outdateTightening();
  moveTime = performance.now();
  if (verdictAsked) verdictAsked.abort();
  if (settling === null) history.replaceState(null, "", address());
  showControls();
  ask();
}

// one question is under way at a time; the next one asks for what is true by then, so that no answer is out of date.
// Every answer comes in two parts: what is solved first, its verdict only begun, then the rest, unless something moves
// meanwhile. The rest is asked for before the first is drawn, so that one is solved while the other is painted
async function ask() {
  if (asking) return;
  asking = true;
  let rest = null; // what was asked for in advance, and after which move
  while (answered !== serial) {
    const asked = serial, since = moveTime, { engine, units, model, level } = now, changes = { ...now.changes }, first = begun !== asked;
    const body = { engine, changes, units, model, level, state: now.state, plan: drawn === null, first, page: PAGE, move: asked };
    let found;
    try {
      const sent = !first && rest && rest.move === asked ? rest.sent : null;
      rest = null;
      if (!sent) verdictAsked = first ? null : new AbortController();
      found = await (sent || post("/answer", body, verdictAsked));
      if (found.key !== drawnKey && whole && !found.drawn && found.plan) found = await post("/answer", { ...body, plan: true });
    } catch (error) {
      if (error.name === "AbortError") continue;
      if (asked === serial) { trouble(error instanceof TypeError ? SILENT : error.message); answered = begun = asked; document.body.classList.add("old"); }
      if (error instanceof TypeError) { setTimeout(() => { serial += 1; ask(); }, 2000); break; }
      continue;
    }
    if (found.superseded) continue;
    trouble("");
    if (found.waits) {
      if (waitKey !== CANCELLED) showWait(found, asked);
      await new Promise((done) => setTimeout(done, 400));
      if (waitKey === CANCELLED) { waitKey = ""; if (asked === serial) break; }
      continue;
    }
    waitKey = ""; $("wait").hidden = true;
    if (first && asked === serial && found.judged === false) {
      verdictAsked = new AbortController();
      rest = { move: asked, sent: post("/answer", { ...body, first: false, rest: true, plan: false }, verdictAsked) };
      rest.sent.catch(() => {}); // it is waited for below
    }
    if (asked === serial || (!answer && identity(body) === identity(now))) { shownChanges = changes; await show(found, first); }
    begun = asked;
    if (asked === serial && first) timed(timings, since);
    if (found.judged === false) continue;
    answered = asked;
    if (asked === serial) { timed(verdicts, since); if (!found.problem) setTimeout(() => { if (asked === serial) { tellTimes(); askCurves(); } }, PAUSE); }
  }
  asking = false;
}

// how long it took until it could be seen; told when the hand rests, for telling has the page drawn once more
function timed(times, since) { requestAnimationFrame(() => setTimeout(() => { times.push(performance.now() - since); })); }

function tellTimes() {
  if (timings.length && past.length) $("timing").textContent = `Last pictures ${Math.round(timings.at(-1))} ms after the move` + (verdicts.length && answered === serial ? `, verdict ${Math.round(verdicts.at(-1))} ms.` : ".");
}

// curves that are solved once an answer stands; whatever was moved meanwhile asks for its own
async function askCurves() {
  const asked = serial, { engine, units, model } = now, changes = { ...now.changes }, of = chosen + JSON.stringify(changes);
  try {
    const { diagram } = await post("/curves", { engine, changes, units, model, page: PAGE, move: asked });
    if (asked !== serial || !diagram) return;
    answer.diagram = diagram;
    if (pinned && pinned.of === answer) pinned.diagram = diagram;
    drawDiagram("diagram", diagram, answer.units, pinned && pinned.diagram); diagramIs(of);
    $("diagram-note").textContent = diagram.gas ? `${diagram.gas.state}: of ${told(diagram.gas.gas)} ${answer.units.force} of gas a stud, ${told(diagram.gas.fired - diagram.gas.rest)} ${answer.units.force} go into the stud; ${told(diagram.gas.clamp)} ${answer.units.force} of clamp stay on the gasket. ` : "";
    $("diagram-note").textContent += `Stretch by the ${diagram.stretch_by}; the picture of headjoint solve has the solved one.`;
  } catch (error) { if (asked === serial) { $("diagram-note").textContent = error.message; clearGraph("diagram"); diagramIs(of); } }
}

async function askService() {
  const { engine, units, model } = now, changes = { ...now.changes }, of = stateOf(changes), drawnIn = answer.units;
  able($("run-service"), false); says("service", "Running the service; the page answers meanwhile.");
  try {
    const { service } = await post("/curves", { engine, changes, units, model, service: true });
    const other = chosen !== identity({ engine, units, model });
    if (other || !service) dropService();
    else {
      $("service-found").hidden = false;
      drawService("service", service, drawnIn);
      serviceFound = { of, words: service.broken ? "A stud breaks." : "" }; outdateService();
    }
    if (!other && !service) says("service", "The file states no service.");
  } catch (error) { says("service", chosen === identity({ engine, units, model }) ? error.message : SERVICE); }
  able($("run-service"), true);
}

function told(value) { return Number(value.toPrecision(3)).toString(); }

function trouble(words) { if ($("trouble").textContent !== words) { $("trouble").hidden = !words; $("trouble").textContent = words; } }

function showWait(found, asked) {
  waitKey = found.key;
  if (asked === serial) showValues(found.values);
  document.body.classList.add("old");
  $("wait").hidden = false;
  const { stage, seconds, last } = found.waits;
  const left = seconds !== null && last ? (last > seconds ? `; about ${Math.ceil(last - seconds)} s left` : "; longer than the last one") : "";
  const before = $("rows").childElementCount > 0;
  say(`${before ? "Another shape" : "Condensing"}: ${stage}`);
  $("wait-words").textContent = `${before ? "Another shape" : "Condensing"}: ${stage}${seconds === null ? "" : ", " + Math.round(seconds) + " s"}${left}. ${before ? "What you see is the shape before." : ""}`;
  if (seconds !== null && last) $("wait-bar").value = Math.min(seconds / last, 0.98); else $("wait-bar").removeAttribute("value");
}

// what the diagram is of: until it is of what is shown now, it waits
function diagramIs(of) { diagramOf = of; waits("joint-diagram", of !== chosen + JSON.stringify(shownChanges)); }
function waits(id, still) { $(id).classList.toggle("waits", still); $(id).setAttribute("aria-busy", still); }

// pictures : whether they are not drawn yet; what the verdict still waits for is marked as old
async function show(found, pictures) {
  if (found.problem) {
    document.body.classList.add("old"); trouble(found.problem); showValues(found.values);
    return;
  }
  document.body.classList.remove("old");
  if (found.drawn) { drawn = { ...found.drawn, grid: gridOf(found.drawn) }; drawnKey = found.key; }
  const judged = found.judged !== false;
  waits("table", !judged); diagramIs(diagramOf);
  answer = judged ? { ...(found.states ? {} : answer), ...found } : { ...found, requirements: answer ? answer.requirements : [], not_judged: answer ? answer.not_judged : [] };
  showValues(found.values);
  $("verdict").className = { holds: "holds", "does not hold": "fails" }[found.word] || "unknown";
  $("word").textContent = found.word.toUpperCase();
  $("sentence").textContent = found.sentence; $("change").textContent = found.change || ""; $("seen").textContent = answer.model;
  showStates(answer.states, answer.state);
  if (judged) { showRows(found); say([found.word.toUpperCase(), found.sentence, found.change && "What to change: " + found.change].filter(Boolean).join(". ")); }
  if (pictures) await draw();
}

// an open list is left alone where it stays the same
function optionsIn(select, names, value = (one) => one) {
  if (names.join("|") !== [...select.options].map((one) => one.text).join("|")) select.replaceChildren(...names.map((one, n) => new Option(one, value(one, n))));
}

function showStates(states, shown) {
  optionsIn($("state"), states.map((one) => one.name), (one, n) => n);
  now.state = shown;
  $("state").value = now.state;
}

function showRows(found) {
  const before = pinned && new Map(pinned.requirements.map((one) => [one.key, one]));
  document.querySelectorAll("th.pinned").forEach((one) => { one.hidden = !before; });
  const lines = found.requirements.map((one) => {
    const cells = [[one.name, ""], [one.found, ""], [one.needed.toFixed(2), "needed"], ...(before ? against(one, before.get(one.key)) : [])];
    return { bad: one.holds === false, cells: [...cells, [one.where + ": " + one.detail + (one.remedy ? "\nWhat to change: " + one.remedy : ""), "left"]] };
  });
  sameRows($("rows"), lines);
  const unjudged = JSON.stringify(found.not_judged);
  if ($("not-judged").dataset.of === unjudged) return;
  $("not-judged").dataset.of = unjudged;
  $("not-judged").replaceChildren(...found.not_judged.map((one) => {
    const line = document.createElement("li");
    // what stands between backticks is a command
    const parts = `Not judged${one.deciding ? ", and it decides" : ""}: ${one.name}: ${one.why}`.split("`");
    line.append(...parts.map((part, n) => { if (n % 2 === 0) return part; const code = document.createElement("code"); code.textContent = part; return code; }));
    return line;
  }));
}

// rows are kept and only what differs is written: less is laid out, and nobody who reads the table loses the place
function sameRows(body, lines) {
  while (body.rows.length > lines.length) body.deleteRow(-1);
  lines.forEach(({ bad, cells }, n) => {
    const line = body.rows[n] || body.insertRow();
    line.className = bad ? "bad" : "";
    while (line.cells.length > cells.length) line.deleteCell(-1);
    cells.forEach(([text, kind], at) => {
      let cell = line.cells[at];
      if (!cell) { cell = document.createElement(at ? "td" : "th"); if (!at) cell.scope = "row"; line.append(cell); }
      cell.className = kind;
      if (cell.textContent !== text) cell.textContent = text;
    });
  });
}

// what was pinned, and by how much it differs now
function against(one, other) {
  if (!other) return [["", "pinned"], ["", "pinned"]];
  if (one.value === null || other.value === null) return [[other.found, "pinned"], ["", "pinned"]];
  const by = one.value - other.value, text = Math.abs(by).toFixed(2);
  return [[other.found, "pinned"], [(Number(text) === 0 ? "" : by < 0 ? "\u2212" : "+") + text, "pinned"]];
}

// whether what is shown is the answer to what is asked now: nothing else is saved
function stands() {
  if (answer && window.headjointLive.answered && !document.body.classList.contains("old")) return true;
  if ($("trouble").hidden) trouble("What is shown is not the answer to what is chosen now: save once that is here.");
  return false;
}

// the page as it stands, in one file that opens anywhere: verdict, what was moved, requirements, pictures
async function report() {
  if (!answer.diagram) await askCurves();
  const body = document.createElement("body"), { diagram } = answer, head = [["h1", document.title.replace(": headjoint live", "")], ["p", $("word").textContent + ": " + $("sentence").textContent], ["p", $("change").textContent], ["p", $("seen").textContent]];
  const add = (kind, text) => { const one = document.createElement(kind); one.textContent = text; body.append(one); return one; };
  for (const [kind, text] of head) if (text) add(kind, text);
  const names = new Map(controls.map((one) => [one.path, one])), list = add("ul", "");
  for (const [path, value] of Object.entries(shownChanges)) { const line = document.createElement("li"); line.textContent = `moved: ${names.get(path).label} ${value} ${names.get(path).unit}`; list.append(line); }
  for (const id of ["plan", "line", "clamp", "diagram", "service"]) {
    const place = $(id);
    if (id === "plan" ? !whole : !place.firstChild || place.closest("[hidden], .stale") || (id === "diagram" && !diagram)) continue;
    add("h2", place.dataset.named);
    if (id !== "plan") { const graph = place.cloneNode(true); for (const one of graph.querySelectorAll(".told, .at")) one.remove(); graph.querySelector(".graph svg").removeAttribute("height"); graph.removeAttribute("id"); body.append(graph); continue; }
    const picture = document.createElement("img"); picture.alt = place.dataset.named;
    picture.src = now.view === "flat" ? await planPicture() : await Plotly.toImage(place, { format: "png", width: 1000, height: 700, scale: 1.5 });
    body.append(picture);
  }
  const rows = document.querySelector("#table table").cloneNode(true);
  add("h2", "Requirements"); body.append(rows, $("not-judged").cloneNode(true));
  add("p", `Repeat: save the file from the live page, then headjoint solve ${now.engine}-moved.toml${now.model === "stud" ? " --model stud" : ""}`);
  body.append(document.querySelector("footer .caution").cloneNode(true));
  add("p", document.querySelector("footer p:nth-of-type(2)").textContent.split(";")[0]);
  const style = "body{font:15px/1.45 system-ui,sans-serif;max-width:62rem;margin:1rem auto;padding:0 1rem}img{max-width:100%}.key{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1rem;padding:0}svg .title{fill:#22252b}td:not(.left):not(:first-child){white-space:nowrap}td.left{white-space:pre-line}tr.bad td:nth-child(2){color:#a8323e;font-weight:700}tr.bad td:nth-child(2)::before{content:'\u2716\u00a0'}table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;border-bottom:1px solid #ddd;padding:.2rem .6rem .2rem 0}[hidden]{display:none}";
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title></title><style>${style}</style></head>${body.outerHTML}</html>`.replace("<title>", "<title>" + now.engine.replace(/[<&>]/g, ""));
}

async function pictureOf(place, body) {
  const sent = await fetch(place, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
  if (!sent.ok) throw new Error((await sent.json().catch(() => ({}))).refused || "the picture could not be drawn");
  return sent.blob();
}

// the gasket in plan as every report has it
async function planPicture() {
  const { engine, units, model, level, state } = now;
  const picture = await pictureOf("/plan", { engine, units, model, level, state, changes: shownChanges }), read = new FileReader();
  return new Promise((done, failed) => { read.onload = () => done(read.result); read.onerror = () => failed(read.error); read.readAsDataURL(picture); });
}

async function draw() {
  const { units, states, forces, lines } = answer, state = answer.state;
  $("gasket-view").hidden = $("tightening").hidden = !whole; document.body.classList.toggle("stud", !whole);
  (whole ? $("state").parentElement : $("line-title")).after($("level-choice")); // one stud has no view in plan beside which it stands
  drawLine("line", states, lines[now.level], units, whole, pinned && pinned.whole === whole ? pinned.lines[now.level] : null);
  drawClamp("clamp", states, forces, units, pinned && pinned.states.length === states.length ? pinned.forces : null);
  $("line-title").textContent = `${whole ? "Sealing line" : "Gasket pressure"}, ${now.level} preload`;
  if (whole && answer.plan && drawn) {
    if (now.view === "flat") drawPlan("plan", drawn, answer.plan, units);
    else await drawRelief("plan", drawn, answer.plan, units);
    $("plan-note").textContent = now.view === "flat" ? planWords(answer.plan, units) : "Pressure as height; drag to turn, or use the buttons.";
    $("plan").setAttribute("aria-label", `Gasket contact pressure ${now.view === "flat" ? "in plan" : "in relief, pressure as height"}, ${states[state].name}, ${now.level} preload: ${planSaid(answer.plan, units)}`);
  }
}

function showControls() {
  able($("undo"), past.length > 0); able($("redo"), future.length > 0); able($("reset"), Object.keys(now.changes).length > 0);
  $("turns").hidden = now.view === "flat"; $("flat").setAttribute("aria-pressed", now.view === "flat"); $("relief").setAttribute("aria-pressed", now.view === "relief");
  showValues({}); showPoint();
}

// a slider shows what was moved, else what the changes before it made of it, else what the file states
function showValues(values) {
  for (const one of controls) {
    const place = places.get(one.path), value = now.changes[one.path] ?? values[one.path] ?? one.value;
    if (place.written && place.value === value && place.moved === one.path in now.changes) continue; // what is written is laid out again
    Object.assign(place, { value, moved: one.path in now.changes, written: !place.field || document.activeElement !== place.field });
    place.whole.classList.toggle("moved", place.moved);
    const { range, field, select } = place, told = Number(Number(value).toPrecision(4));
    if (select) { select.value = value; continue; }
    range.value = value;
    if (place.written) field.value = told; // not over who types
    range.setAttribute("aria-valuetext", told);
  }
}

function save(name, text, kind) {
  const link = document.createElement("a"), made = URL.createObjectURL(new Blob([text], { type: kind }));
  Object.assign(link, { href: made, download: name }); link.click(); URL.revokeObjectURL(made);
}

// what was moved stays moved, told in the other units
async function inOtherUnits() {
  remember();
  const to = $("units").value;
  try {
    let asked, kept;
    do {
      asked = serial;
      kept = (await post("/units", { engine: now.engine, units: now.units, model: now.model, changes: { ...now.changes }, to })).changes;
    } while (asked !== serial);
    if ($("units").value !== to) return;
    now.units = to; now.changes = kept;
    chooseEngine();
  } catch (error) { $("units").value = now.units; trouble(error instanceof TypeError ? SILENT : error.message); }
}

function wire() {
  $("engine").addEventListener("change", () => { remember(); now.engine = $("engine").value; now.changes = {}; now.state = -1; now.model = "whole"; chooseEngine(); });
  $("model").addEventListener("change", () => { remember(); now.model = $("model").value; chooseEngine(); });
  $("units").addEventListener("change", inOtherUnits);
  for (const id of ["level", "state"]) $(id).addEventListener("change", () => { remember(); now[id] = id === "state" ? Number($(id).value) : $(id).value; moved(); });
  for (const id of ["flat", "relief"]) $(id).addEventListener("click", () => { now.view = id; if (window.Plotly) Plotly.purge("plan"); $("plan").replaceChildren(); showControls(); history.replaceState(null, "", address()); if (answer) draw(); });
  for (const one of document.querySelectorAll("[data-turn]")) one.addEventListener("click", () => turnRelief("plan", ...one.dataset.turn.split(" ").map(Number)));
  pressable($("undo"), () => { if (past.length) { future.push(JSON.stringify(now)); goTo(past.pop()); } });
  pressable($("redo"), () => { if (future.length) { past.push(JSON.stringify(now)); goTo(future.pop()); } });
  pressable($("reset"), () => { remember(); now.changes = {}; moved(); });
  $("pin").addEventListener("click", () => { pin(pinned || !stands() ? null : { ...answer, whole, of: answer }); if (answer) { showRows(answer); draw(); } });
  $("cancel").addEventListener("click", async () => {
    const key = waitKey; waitKey = CANCELLED; $("wait").hidden = true;
    await post("/cancel", { key });
    for (const one of controls) if (one.condenses) {
      delete now.changes[one.path];
      if (one.path in shownChanges) now.changes[one.path] = shownChanges[one.path];
    }
    showControls(); if (answer) moved(); else trouble("Cancelled. Move something, or choose an engine.");
  });
  $("save-file").addEventListener("click", async () => { const { engine, changes, units, model } = now; try { const found = await post("/file", { engine, changes, units, model }); save(found.name, found.text, "text/plain"); const kept = found.text.match(/^# Keep it beside: (.*)$/m); if (kept) trouble(`Saved. It names ${kept[1]}: keep it in the folder of the file that it comes from.`); } catch (error) { trouble(error.message); } });
  $("save-answer").addEventListener("click", () => { if (stands()) save(now.engine + "-figures.json", JSON.stringify({ ...now, ...answer, plan: undefined, drawn: undefined }, null, 1), "application/json"); });
  $("save-report").addEventListener("click", async () => {
    if (!stands()) return;
    try {
      const text = await report();
      if (stands()) save(now.engine + "-report.html", text, "text/html");
    } catch (error) { trouble(error instanceof TypeError ? SILENT : error.message); }
  });
  pressable($("run-service"), () => { if (answer) askService(); });
  pressable($("run-tightening"), () => { if (answer && drawn) askTightening(); });
  pressable($("run-warm-up"), () => { if (answer) askWarmUp(); });
  window.addEventListener("keydown", (event) => {
    if (!event.altKey || !["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    event.preventDefault(); $(event.key === "ArrowLeft" ? "undo" : "redo").click();
  });
  window.addEventListener("resize", () => { if (whole && drawn && answer && answer.plan && now.view === "flat") drawPlan("plan", drawn, answer.plan, answer.units); else if (whole && drawn && answer && now.view === "relief") drawRelief("plan", drawn, answer.plan, answer.units).catch((error) => trouble(error.message)); tightening.again(); });
  $("bench").addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("popstate", () => { readAddress(); chooseEngine(); });
}

readAddress();
wire();
chooseEngine();
