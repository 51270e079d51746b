// @ts-check
/**
 * The board: steps, question and answer, cause, labels, white or black, all by key.
 *
 * The address says all of it, so that a reload shows the same. Pictures of steps are fetched ahead,
 * so that the next step is there when it is asked for.
 */

import { Refused, ask, the } from "/common.js";

/**
 * @typedef {{title: string, text: string, cause: string, question: string, of: string,
 *   rules: string[], draw: string[], lines: string[], bars: string[]}} Step
 */

const stage = the("#stage", HTMLElement);
const picture = the("#picture", HTMLElement);
const said = the(".said", HTMLElement);
const sentence = the("#sentence", HTMLElement);
const cause = the("#cause", HTMLElement);
const of = the("#of", HTMLElement);
const note = the("#note", HTMLElement);
const typed = the("#typed", HTMLOutputElement);
const buttons = the("#buttons", HTMLElement);
const unhide = the("#unhide", HTMLButtonElement);
const list = the("#step-list", HTMLDialogElement);
/** @type {Step[]} */
const steps = JSON.parse(the("#steps-data", HTMLScriptElement).textContent ?? "[]");

const asked = new URLSearchParams(location.search);
const state = {
  step: Number(stage.dataset.step),
  asking: asked.get("ask") === "on",
  revealed: asked.get("ask") !== "on" || asked.get("revealed") === "on",
  cause: asked.get("cause") === "on",
  labels: asked.get("labels") !== "off",
  black: asked.get("ground") === "black",
  buttons: asked.get("buttons") !== "off",
};

/** The number that is being typed. */
let digits = "";
/** The picture that is wanted; an older one that comes late is not shown. */
let wanted = 0;

/** Pictures by the number of their step. @type {Map<number, Promise<Element>>} */
const pictures = new Map();
const first = picture.querySelector("svg");
if (first) pictures.set(state.step, Promise.resolve(first));

/** The picture of a step. @param {number} number */
function pictureOf(number) {
  let found = pictures.get(number);
  if (!found) {
    const { convention = "", rate = "" } = stage.dataset;
    const query = new URLSearchParams({ convention, rate, step: String(number) });
    found = ask(`/board/step.svg?${query}`)
      .then((response) => response.text())
      .then((text) => document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true));
    // What failed is asked for again.
    found.catch(() => pictures.delete(number));
    pictures.set(number, found);
  }
  return found;
}

/** The steps about the present one, the next first, then all others while there is time. */
function fetchAhead() {
  const near = [state.step + 1, state.step - 1, state.step + 2];
  const all = [...near, ...steps.keys()].filter((number) => number >= 1 && number <= steps.length);
  const next = all.find((number) => !pictures.has(number));
  if (next !== undefined) pictureOf(next).then(fetchAhead, () => {});
}

/**
 * Marks what is new in a picture, and the lines that its step is drawn on.
 * @param {Element} drawing
 * @param {Pick<Step, "draw" | "lines" | "bars">} step
 */
function mark(drawing, step) {
  for (const [selector, ids, mark] of /** @type {[string, string[], string][]} */ ([
    [".landmark-label", step.draw, "new"],
    [".line", step.draw, "new"],
    [".line", step.lines, "used"],
  ])) {
    for (const one of drawing.querySelectorAll(selector)) {
      one.classList.toggle(mark, ids.includes(one.getAttribute("data-landmark") ?? ""));
    }
  }
  for (const bar of drawing.querySelectorAll(".bar")) {
    bar.classList.toggle("new", step.bars.includes(bar.getAttribute("data-bar") ?? ""));
  }
}

/** Shows the picture of a step; none before the first. @param {number} number */
async function draw(number) {
  wanted = number;
  picture.classList.toggle("unseen-picture", number < 1);
  if (number < 1) {
    stage.dataset.drawn = "0";
    return;
  }
  try {
    const drawing = await pictureOf(number);
    if (wanted !== number) return;
    mark(drawing, state.revealed ? steps[number - 1] : { draw: [], lines: [], bars: [] });
    picture.replaceChildren(drawing);
    stage.dataset.drawn = String(number);
  } catch (error) {
    note.textContent = error instanceof Refused ? error.message : String(error);
  }
}

/** @param {string} id @param {boolean} on */
function press(id, on) {
  document.getElementById(`do-${id}`)?.setAttribute("aria-pressed", String(on));
}

function show() {
  const step = steps[state.step - 1];
  const open = state.revealed;
  of.textContent = step.of;
  if (sentence.textContent !== (open ? step.text : step.question)) {
    sentence.textContent = open ? step.text : step.question;
  }
  sentence.classList.toggle("question", !open);
  cause.textContent = state.cause && open ? `${stage.dataset.why ?? ""}${step.cause}` : "";
  stage.classList.toggle("asking", !open);
  stage.classList.toggle("unlabelled", !state.labels);
  stage.classList.toggle("black", state.black);
  buttons.hidden = !state.buttons;
  unhide.hidden = state.buttons;
  press("cause", state.cause);
  press("ask", state.asking);
  press("labels", !state.labels);
  press("ground", state.black);
  void draw(open ? state.step : state.step - 1).then(fetchAhead);
  stage.classList.remove("veiled");
  said.classList.remove("long");
  said.classList.toggle("long", said.scrollHeight > said.clientHeight);
  keepAddress();
}

function keepAddress() {
  const { convention = "", rate = "" } = stage.dataset;
  const pairs = new URLSearchParams({ convention, rate, step: String(state.step) });
  if (state.asking) pairs.set("ask", "on");
  if (state.asking && state.revealed) pairs.set("revealed", "on");
  if (state.cause) pairs.set("cause", "on");
  if (!state.labels) pairs.set("labels", "off");
  if (state.black) pairs.set("ground", "black");
  if (!state.buttons) pairs.set("buttons", "off");
  history.replaceState(null, "", `/board?${pairs}`);
}

/** Goes to a step. @param {number} number @param {boolean} [revealed] */
function go(number, revealed = !state.asking) {
  if (number < 1 || number > steps.length) return;
  note.textContent = "";
  state.step = number;
  state.revealed = revealed;
  show();
}

function next() {
  if (state.revealed) go(state.step + 1);
  else go(state.step, true);
}

function back() {
  if (state.asking && state.revealed) go(state.step, false);
  else go(state.step - 1, true);
}

/** @param {"cause" | "labels" | "black" | "buttons"} what */
function turn(what) {
  state[what] = !state[what];
  show();
}

function toggleAsking() {
  state.asking = !state.asking;
  state.revealed = !state.asking;
  show();
}

function showList() {
  for (const one of list.querySelectorAll("[data-to]")) {
    if (one.getAttribute("data-to") === String(state.step)) one.setAttribute("aria-current", "step");
    else one.removeAttribute("aria-current");
  }
  list.showModal();
  const now = list.querySelector("[aria-current]");
  if (now instanceof HTMLElement) now.focus();
}

/** @param {string} text */
function type(text) {
  digits = text.slice(0, 3);
  typed.hidden = digits === "";
  typed.textContent = digits ? `${stage.dataset.jump ?? ""} ${digits}` : "";
}

function enter() {
  if (digits === "") return next();
  const number = Number(digits);
  type("");
  if (number >= 1 && number <= steps.length) go(number);
  else note.textContent = `${stage.dataset.noStep ?? ""} ${number}`;
}

function leave() {
  if (digits) type("");
  else location.assign("/board");
}

/** What each key does. @type {Record<string, () => void>} */
const KEYS = {
  ArrowRight: next, PageDown: next, " ": next, Enter: enter,
  ArrowLeft: back, PageUp: back,
  Home: () => go(1), End: () => go(steps.length),
  Escape: leave,
  c: () => turn("cause"), h: () => turn("labels"), b: () => turn("black"), k: () => turn("buttons"),
  a: toggleAsking, l: showList,
};

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || document.querySelector("dialog[open]")) return;
  const pressed = event.target instanceof Element && event.target.closest("button, a");
  if (pressed && (event.key === "Enter" || event.key === " ")) return;
  if (/^[0-9]$/.test(event.key)) return type(digits + event.key);
  if (event.key === "Backspace") return type(digits.slice(0, -1));
  const act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!act || (event.repeat && !event.key.startsWith("Arrow"))) return;
  event.preventDefault();
  act();
});

for (const [id, act] of /** @type {[string, () => void][]} */ ([
  ["back", back], ["next", next], ["list", showList], ["ask", toggleAsking],
  ["cause", () => turn("cause")], ["labels", () => turn("labels")], ["ground", () => turn("black")],
  ["hide", () => turn("buttons")], ["unhide", () => turn("buttons")],
])) {
  const button = the(`#${id === "unhide" ? id : `do-${id}`}`, HTMLElement);
  button.addEventListener("click", (event) => {
    event.preventDefault();
    // Pressed with a pointer it gives the keys back to the board.
    if (event.detail > 0) button.blur();
    act();
  });
}
list.addEventListener("click", (event) => {
  const to = event.target instanceof Element ? event.target.closest("[data-to]")?.getAttribute("data-to") : null;
  if (!to) return;
  list.close();
  if (document.activeElement instanceof HTMLElement) document.activeElement.blur();
  go(Number(to));
});

stage.style.setProperty("--ratio", stage.dataset.ratio ?? "1.3");
show();
