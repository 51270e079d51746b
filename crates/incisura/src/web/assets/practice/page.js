// @ts-check
/** The practice page: puts its parts together. Its state lies in its address: test, level and seed. */

import { Build } from "./build.js";
import { Core } from "./core.js";
import { History, smoothed } from "./drawing.js";
import { Findings } from "./findings.js";
import { Pen } from "./pen.js";
import { Points } from "./points.js";
import { Progress } from "./progress.js";
import { Quiz } from "./quiz.js";
import { Report } from "./report.js";
import { Sound } from "./sound.js";
import { Unanswered } from "./source.js";
import { Stage } from "./stage.js";

/**
 * @template {Element} T
 * @param {string} selector
 * @param {new () => T} kind
 * @returns {T}
 */
function the(selector, kind) {
  const found = document.querySelector(selector);
  if (!(found instanceof kind)) throw new Error(`the page has no ${selector}`);
  return found;
}

/** While somebody reads what is to be drawn, a page is not in their way. */
const WHILE_READING_MS = 600;

const data = JSON.parse(the("#practice-data", HTMLScriptElement).textContent ?? "");
/** @type {Record<string, string>} */
const said = data.said;
const spoken = the("#spoken", HTMLElement);
const problem = the("#problem", HTMLElement);
const level = the("#level", HTMLSelectElement);
// A page by itself is about one test; its state is in the part of the address that is nobody's but its own.
const alone = data.key !== undefined;
const check = the("#check", HTMLButtonElement);
const harder = the("#harder", HTMLButtonElement);

/** @param {string} key @param {(string | number)[]} parts */
const fill = (key, ...parts) => parts.reduce((/** @type {string} */ text, part) => text.replace("{}", () => String(part)), said[key]);
/** @param {string} text */
const speak = (text) => (spoken.textContent = text);
/** @param {unknown} error */
const failed = (error) => {
  if (!(error instanceof Unanswered)) throw error;
  problem.textContent = error.message;
};

const address = new URLSearchParams(alone ? location.hash.slice(1) : location.search);
/** Tasks that came with the page, so that one can draw before the core has started. @type {import("./core.js").Task[]} */
const ready = data.tasks ?? [];
const opening = ready[Math.floor(Math.random() * ready.length)];
const freshSeed = () => Math.floor(Math.random() * 1e6);
/** @param {string | null} text @param {number} least @param {number} most @param {number} usual */
const whole = (text, least, most, usual) => {
  const number = Number(text ?? NaN);
  return Number.isInteger(number) && number >= least && number <= most ? number : usual;
};
const variant = { level: whole(address.get("level"), 1, 4, 2), seed: whole(address.get("seed"), 0, 2 ** 31, -1) };
if (variant.seed < 0) variant.seed = opening && opening.level === variant.level ? opening.seed : freshSeed();

const core = new Core(data, said.silent);
const stage = new Stage(the("#stage", HTMLElement), said);
const history = new History({ strokes: {}, bars: {}, lines: [], points: [] }, changed);
const shared = { said, fill, speak, failed, variant: () => variant };
const points = new Points(core, stage, history, {
  ...shared, list: the("#point-list", HTMLElement), alike: the("#alike", HTMLInputElement), given: the("#given-marks", HTMLElement),
});
const pen = new Pen(stage, history, points, (key, ...parts) => speak(fill(key, ...parts)));
const findings = new Findings(stage, {
  ...shared, list: the("#findings", HTMLElement), empty: the("#feedback-empty", HTMLElement), score: the("#score", HTMLElement),
  leader: the("#leader", SVGSVGElement), bench: the("#bench", HTMLElement),
});
const feedback = the("#feedback", HTMLDetailsElement);
const build = new Build(core, stage, { ...shared, place: the("#build", HTMLDetailsElement) });
const quiz = new Quiz(core, stage, { ...shared, place: the("#quiz", HTMLDetailsElement) });
const progress = new Progress({ ...shared, place: the("#progress", HTMLElement), name: data.name });
const report = new Report();
const sound = new Sound(core, stage, {
  ...shared, button: the("#hear", HTMLButtonElement), trace: the("#heard", HTMLSelectElement), slowly: the("#slowly", HTMLInputElement),
  drawing: () => history.now,
});
stage.moved = () => findings.lead();

/** Whether something else is shown by now than when `asked` was asked for. @param {typeof variant} asked */
const stale = (asked) => asked.level !== variant.level || asked.seed !== variant.seed;

/** Whatever changed is drawn anew, and no longer what was judged. */
function changed() {
  stage.draw(history.now);
  points.redraw();
  the("#undo", HTMLButtonElement).disabled = history.before.length === 0;
  the("#redo", HTMLButtonElement).disabled = history.after.length === 0;
  findings.outdate();
}

/** Puts the state into the address. */
function remember() {
  const state = { level: String(variant.level), seed: String(variant.seed) };
  try {
    if (alone) window.history.replaceState(null, "", `#${new URLSearchParams(state)}`);
    else window.history.replaceState(null, "", `?${new URLSearchParams({ test: the("#test", HTMLSelectElement).value, ...state })}`);
  } catch {
    // A browser may not let a file change its address; then each opening is another variant.
  }
}

/** Gets the task that the state names, with an empty page. */
async function begin() {
  document.documentElement.dataset.ready = "";
  problem.textContent = "";
  sound.stop();
  const asked = { ...variant };
  let task = ready.find((one) => one.level === asked.level && one.seed === asked.seed);
  if (task) {
    // The core computes it, too, as soon as nothing else is to be done.
    setTimeout(() => void core.task(asked).catch(() => {}), WHILE_READING_MS);
  } else {
    try {
      task = await core.task(asked);
    } catch (error) {
      if (stale(asked)) return;
      return failed(error);
    }
  }
  if (stale(asked)) return;
  remember();
  level.value = String(variant.level);
  task.levels.forEach((name, index) => (level.options[index].textContent = `${index + 1} · ${name}`));
  the("#told", HTMLElement).textContent = task.told;
  findings.clear();
  harder.hidden = true;
  if (alone) the("#result", HTMLElement).hidden = true;
  stage.show(task);
  history.before = [];
  history.after = [];
  history.now = { strokes: {}, bars: {}, lines: [], points: task.points.map((point) => point.start_mm) };
  changed();
  points.begin(task);
  sound.begin(task);
  build.forget();
  quiz.forget();
  speak(fill("fresh", Math.round(task.rate_bpm)));
  document.documentElement.dataset.ready = `${variant.level} ${variant.seed}`;
}

async function judge() {
  problem.textContent = "";
  check.disabled = true;
  const asked = { ...variant };
  await points.settled;
  const drawn = history.now;
  const { strokes, bars } = drawn;
  try {
    const verdict = await core.judge(asked, { strokes, bars });
    const code = await core.code(asked, { strokes, bars });
    if (!stale(asked)) {
      feedback.open = true;
      findings.show(verdict);
      if (history.now !== drawn) findings.outdate();
      if (code) {
        the("#code", HTMLElement).textContent = code;
        the("#result", HTMLElement).hidden = false;
      }
      progress.add(verdict, asked, code);
      report.add(verdict);
      harder.hidden = !(verdict.all_met && asked.level < 4);
    }
  } catch (error) {
    failed(error);
  }
  check.disabled = false;
}

/** @param {number} to */
function goTo(to, seed = freshSeed()) {
  [variant.level, variant.seed] = [to, seed];
  return begin();
}

/** @param {string} mode */
function choose(mode) {
  pen.choose(mode);
  for (const button of document.querySelectorAll("[data-mode]")) {
    if (button instanceof HTMLButtonElement) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
  }
  the("#points", HTMLElement).hidden = mode !== "points";
  points.show(mode === "points");
}

/** @param {boolean} back */
function turn(back) {
  if (back ? history.undo() : history.redo()) speak(said[back ? "undone" : "redone"]);
}

// What buttons and keys do.

for (const button of document.querySelectorAll("[data-mode]")) {
  if (button instanceof HTMLButtonElement) button.addEventListener("click", () => choose(button.dataset.mode ?? "draw"));
}
/** @type {[string, () => void][]} */
const acts = [
  ["#check", judge],
  ["#undo", () => turn(true)],
  ["#redo", () => turn(false)],
  ["#smooth", () => {
    const all = Object.entries(history.now.strokes).map(([channel, strokes]) => {
      const panel = stage.task.panels.find((one) => one.channel === channel);
      return [channel, panel?.bursts ? strokes : smoothed(strokes)];
    });
    history.put({ strokes: Object.fromEntries(all) });
    speak(said.smoothed);
  }],
  ["#clear", () => history.put({ strokes: {}, bars: {}, lines: [] })],
  ["#nearer", () => stage.zoom(1 / 1.4)],
  ["#farther", () => stage.zoom(1.4)],
  ["#whole", () => stage.whole()],
  ["#variant", () => void goTo(variant.level)],
  ["#harder", () => void goTo(variant.level + 1)],
  ["#hear", () => void sound.turn()],
];
for (const [name, act] of acts) the(name, HTMLButtonElement).addEventListener("click", act);
level.addEventListener("change", () => void goTo(Number(level.value), variant.seed));
if (!alone) the("#test", HTMLSelectElement).addEventListener("change", (event) => {
  const test = /** @type {HTMLSelectElement} */ (event.currentTarget);
  location.search = String(new URLSearchParams({ test: test.value, level: String(variant.level) }));
});

/** @type {Record<string, () => void>} */
const keys = {
  // A button that waits for an answer does nothing.
  c: () => check.click(),
  d: () => choose("draw"),
  e: () => choose("erase"),
  l: () => choose("line"),
  m: () => choose("move"),
  p: () => choose("points"),
  "+": () => stage.zoom(1 / 1.4),
  "-": () => stage.zoom(1.4),
  "−": () => stage.zoom(1.4),
  0: () => stage.whole(),
};
document.addEventListener("keydown", (event) => {
  const typing = event.target instanceof Element && event.target.matches("input:not([type=checkbox], [type=radio]), textarea, select");
  if (typing || document.querySelector("dialog[open]")) return;
  if ((event.ctrlKey || event.metaKey) && !event.altKey) {
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    turn(key === "z" && !event.shiftKey);
    return;
  }
  // Letters do something only where one is drawing: elsewhere they are nobody's.
  if (event.altKey || !(event.target instanceof Element && event.target.closest("#bench"))) return;
  keys[event.key]?.();
});

// Another level or variant written after the address. Putting the state there does not come this way;
// a link to a place in the page does, and takes the state's place.
if (alone) addEventListener("hashchange", () => {
  const now = new URLSearchParams(location.hash.slice(1));
  if (now.has("level") || now.has("seed")) location.reload();
  else remember();
});

choose("draw");
void begin();
