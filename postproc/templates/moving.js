"use strict";
// Pictures that move: one of many is shown, chosen by a slider. Nothing plays by itself, and where the reader wants
// little motion nothing plays at all: the button then goes on by one.
const EACH = 450; // ms that a picture stands
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

// a picture that moves at the end of a place; shown(one, picture) draws one of its frames into the picture, and may
// take its time
function movingPicture(id, name, what) {
  const place = document.getElementById(id), whole = document.createElement("div"), picture = document.createElement("div"), line = document.createElement("div");
  const button = document.createElement("button"), range = document.createElement("input"), title = document.createElement("output");
  let frames = [], shown = null, timer = null, drawing = 0;
  whole.className = "moving"; whole.hidden = true; line.className = "player"; picture.id = id + "-picture"; picture.setAttribute("role", "img");
  Object.assign(button, { type: "button" }); Object.assign(range, { type: "range", min: 0, step: 1, value: 0 });
  range.setAttribute("aria-label", what); title.htmlFor = range.id = id + "-at";
  line.append(button, range); whole.append(picture, title, line); place.append(whole);
  const last = () => frames.length - 1;
  const words = () => { button.textContent = timer ? "Pause" : calm.matches ? "Next" : Number(range.value) === last() ? "Play again" : "Play"; };
  function at(number) {
    const one = frames[number], told = `${number + 1} of ${frames.length}: ${one.title}`;
    range.value = number; range.setAttribute("aria-valuetext", told); title.textContent = told;
    picture.setAttribute("aria-label", `${name}, ${one.title}${one.bores ? ": " + planSaid(one, answer.units) : ""}`);
    drawing += 1;
    Promise.resolve(shown(one, picture)).catch((error) => says(id, error instanceof TypeError ? SILENT : error.message)).finally(() => { drawing -= 1; });
    words();
  }
  function stop() { clearInterval(timer); timer = null; words(); }
  function next() { if (Number(range.value) < last()) at(Number(range.value) + 1); if (Number(range.value) === last()) stop(); }
  button.addEventListener("click", () => {
    if (timer) { stop(); return; }
    if (Number(range.value) === last()) at(0); else if (calm.matches) next();
    if (!calm.matches) { timer = setInterval(() => { if (!drawing) next(); }, EACH); words(); }
  });
  range.addEventListener("input", () => { stop(); at(Number(range.value)); });
  calm.addEventListener("change", stop);
  return {
    of: "", words: "", // for what it was found, and what is said beside it
    take(given, draw) { stop(); frames = given; shown = draw; range.max = last(); whole.hidden = false; whole.classList.remove("stale"); at(0); },
    again() { if (frames.length && !whole.hidden) at(Number(range.value)); },
    drop() { stop(); frames = []; whole.hidden = true; },
    outdate(of, again) { outdated(whole, id, this, of, again); },
    get there() { return !whole.hidden; },
  };
}

const tightening = movingPicture("tightening", "Gasket contact pressure in plan", "step of the tightening");
const warmUp = movingPicture("warm-up", "Temperatures and clamp of one stud", "moment of the warm-up");
const MOVED_SINCE = "Something was moved since: ";

function says(id, words) { document.getElementById(id + "-note").textContent = words; }

// what was found stands on grey while anything else is chosen than what it was found for, and is the answer again after that
function outdated(place, id, found, of, again) {
  const old = found.of !== of;
  place.classList.toggle("stale", old); says(id, old ? MOVED_SINCE + again : found.words);
}

function outdateTightening() { if (tightening.there) tightening.outdate(stateOf(now.changes), "solve it again."); }

function outdateWarmUp() { if (warmUp.there) warmUp.outdate(besideHeat(), "find it again."); }

async function askTightening() {
  const asked = serial, { engine, units, model } = now, changes = { ...now.changes }, of = stateOf(changes), own = drawn, named = answer.units, button = $("run-tightening");
  able(button, false); says("tightening", "Solving the tightening; the page answers meanwhile.");
  try {
    const { frames } = await post("/tightening", { engine, changes, units, model, page: PAGE, move: asked });
    if (!frames || asked !== serial) says("tightening", MOVED_SINCE + "solve it again.");
    else {
      const words = planWords(frames.at(-1), named) + (frames.some((one) => one.studs.some((stud) => stud.turned)) ? " Ringed in red: is being turned." : "");
      tightening.take(frames, (one) => drawPlan("tightening-picture", own, one, named));
      Object.assign(tightening, { of, words }); says("tightening", words);
    }
  } catch (error) { says("tightening", error instanceof TypeError ? SILENT : error.message); }
  able(button, true);
}

async function askWarmUp() {
  const button = $("run-warm-up"), heat = besideHeat(), query = identity(now);
  able(button, false); says("warm-up", "Finding the warm-up; how far it is stands beside the operating point.");
  await askPoints(true);
  if (heat === besideHeat() && query === identity(now)) await showWarmUp();
  able(button, true);
}

async function showWarmUp() {
  const { engine, units, model } = now, changes = { ...now.changes }, heat = besideHeat(), query = identity(now);
  try {
    const { frames } = await post("/warm-up", { engine, changes, units, model });
    if (heat !== besideHeat() || query !== identity(now)) return;
    const body = { engine, units, model, changes };
    // every picture is drawn when it is first looked at, and the next one meanwhile
    const drawnOf = (one) => { one.drawn ??= pictureOf("/warm-up-picture", { ...body, frame: frames.indexOf(one) }).then(URL.createObjectURL); one.drawn.catch(() => { one.drawn = null; }); return one.drawn; };
    warmUp.take(frames, async (one, place) => {
      let picture = place.querySelector("img");
      if (!picture) { picture = document.createElement("img"); picture.alt = ""; place.append(picture); }
      picture.wanted = one;
      const drawn = await drawnOf(one);
      if (picture.wanted !== one) return;
      picture.src = drawn;
      const after = frames[frames.indexOf(one) + 1];
      if (after) drawnOf(after);
    });
    Object.assign(warmUp, { of: heat, words: "By the heat model of one stud; headjoint warmup has the engine's." }); says("warm-up", warmUp.words);
  } catch (error) { says("warm-up", error instanceof TypeError ? SILENT : $("point-note").textContent || error.message); }
}
