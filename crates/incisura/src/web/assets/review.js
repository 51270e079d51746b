// @ts-check
/** Review: one question at a time, answered by keys or buttons; each answer is kept at once. */

import { Refused, post, say, the } from "/common.js";

/**
 * @typedef {{print: string, sheet: number, rule: string, question: string, proposal: string | null,
 *   measured: string | null, tolerance: string, most: number, decided: string | null,
 *   place: [number, [number, number, number, number]] | null}} Question
 * @typedef {{id: string, text: string, label: boolean}} Rule
 */
/** @type {{test: string, rules: Rule[], questions: Question[], at: number, words: Record<string, string>}} */
const told = JSON.parse(the("#told", HTMLScriptElement).textContent ?? "");
const { test, rules, questions, words } = told;

const [title, asked, measured] = ["#question", "#asked", "#measured"].map((one) => the(one, HTMLElement));
const [crop, grid, whole, noplace] = ["#crop", "#grid", "#whole", "#noplace"].map((one) => the(one, HTMLElement));
const [progress, kept, fault, points] = ["#progress", "#kept", "#fault", "#points"].map((one) => the(one, HTMLElement));
const bar = the("#bar", HTMLProgressElement);
const rest = the("#rest", HTMLButtonElement);
const allmet = the("#allmet", HTMLButtonElement);

/** So many pictures are fetched ahead. */
const AHEAD = 4;

let at = Math.min(told.at, questions.length - 1);
let showsWhole = false;
/** What was sent is answered in order.
 * @type {Promise<void>} */
let queue = Promise.resolve();
let sending = 0;

/**
 * @param {string} name
 * @param {Record<string, string | number>} [values]
 */
const worded = (name, values = {}) => (words[name] ?? name).replace(/\{(\w+)\}/g, (_, key) => String(values[key] ?? ""));
const ruleOf = (/** @type {Question} */ one) => /** @type {Rule} */ (rules.find((rule) => rule.id === one.rule));

/**
 * @param {string} path
 * @param {Question} one
 * @param {Record<string, string>} [more]
 */
const address = (path, one, more = {}) =>
  `${path}?${new URLSearchParams({ test, print: one.print, sheet: String(one.sheet), ...more })}`;
const cropOf = (/** @type {Question} */ one) => address("/marking/crop.png", one, { rule: one.rule });

/** Pictures that were fetched, by their address.
 * @type {Map<string, HTMLImageElement>} */
const pictures = new Map();

/** @param {Question} one */
function picture(one) {
  const source = cropOf(one);
  let image = pictures.get(source);
  if (!image) {
    image = new Image();
    image.src = source;
    image.alt = words.crop ?? "";
    pictures.set(source, image);
    if (pictures.size > 400) pictures.delete(pictures.keys().next().value ?? "");
  }
  return image;
}

/** What was decided, as it is shown. @param {string} decided */
const shown = (decided) => (/^[\d.]+$/.test(decided) ? worded(decided === "1" ? "one" : "worth", { points: decided }) : decided);

function showProgress() {
  const done = questions.filter((one) => one.decided !== null).length;
  progress.textContent = `${worded("progress", { at: at + 1, all: questions.length })} · ${
    done === questions.length ? worded("finished") : worded("answered", { done, left: questions.length - done })}`;
  [bar.max, bar.value] = [questions.length, done];
  for (const item of document.querySelectorAll("#rulelist button")) {
    if (!(item instanceof HTMLElement)) continue;
    const own = questions.filter((one) => one.rule === item.dataset.rule);
    the(".count", HTMLElement, item).textContent = `${own.filter((one) => one.decided !== null).length} / ${own.length}`;
    item.setAttribute("aria-current", String(item.dataset.rule === questions[at]?.rule));
  }
}

/** @param {Question} one */
function showPoints(one) {
  const most = Math.min(9, Math.floor(one.most));
  points.replaceChildren();
  for (let number = 1; most > 1 && number <= most; number += 1) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "answer";
    button.dataset.answer = String(number);
    button.append(`${shown(String(number))} `, key(String(number)));
    points.append(button);
  }
}

/** @param {string} text */
function key(text) {
  const kbd = document.createElement("kbd");
  kbd.textContent = text;
  return kbd;
}

/** The cells of the label that is shown. @param {Question} one */
function showGrid(one) {
  const own = questions.filter((other) => other.rule === one.rule);
  if (grid.dataset.rule !== one.rule) {
    grid.dataset.rule = one.rule;
    grid.replaceChildren(...own.map((other) => {
      const cell = document.createElement("button");
      cell.type = "button";
      cell.className = "cell";
      cell.dataset.at = String(questions.indexOf(other));
      const state = document.createElement("span");
      state.className = "state";
      if (other.place) cell.append(picture(other));
      else cell.append(Object.assign(document.createElement("span"), { className: "soft", textContent: noplace.textContent ?? "" }));
      cell.append(state);
      return cell;
    }));
  }
  for (const cell of grid.children) {
    if (!(cell instanceof HTMLElement)) continue;
    const other = questions[Number(cell.dataset.at)];
    if (!other) continue;
    const own = Number(cell.dataset.at) === at;
    cell.setAttribute("aria-current", String(own));
    cell.tabIndex = own ? 0 : -1;
    cell.dataset.decided = other.decided ?? "";
    the(".state", HTMLElement, cell).textContent = other.decided === null ? worded("open") : shown(other.decided);
  }
  const own_ = grid.querySelector('[aria-current="true"]');
  if (own_ instanceof HTMLElement && !showsWhole) {
    own_.scrollIntoView({ block: "nearest" });
    if (document.activeElement === document.body || grid.contains(document.activeElement)) own_.focus();
  }
}

/** @param {Question} one */
function showWhole(one) {
  if (!one.place) return;
  const [page, [left, top, width, height]] = one.place;
  const image = the("img", HTMLImageElement, whole);
  const source = address("/marking/page.png", one, { page: String(page), names: "hidden" });
  if (!image.src.endsWith(source)) image.src = source;
  image.alt = whole.textContent?.trim() ?? "";
  const frame = the(".frame", HTMLElement, whole);
  frame.style.left = `${100 * left}%`;
  frame.style.top = `${100 * top}%`;
  frame.style.width = `${100 * width}%`;
  frame.style.height = `${100 * height}%`;
  const look = () => frame.scrollIntoView({ block: "nearest" });
  if (image.complete) look();
  else image.addEventListener("load", look, { once: true });
}

function show() {
  const one = questions[at];
  if (!one) return;
  const rule = ruleOf(one);
  title.textContent = rule.text;
  asked.textContent = one.question;
  const lines = [];
  if (one.proposal) lines.push(worded("proposal", { what: one.proposal }));
  if (one.measured) lines.push(worded("measured", { mm: one.measured, tolerance: one.tolerance }));
  measured.textContent = lines.join(" ");
  const label = rule.label && !showsWhole;
  grid.hidden = !label;
  allmet.hidden = !rule.label;
  crop.hidden = label || showsWhole || !one.place;
  whole.hidden = !showsWhole || !one.place;
  noplace.hidden = label || one.place !== null;
  rest.setAttribute("aria-pressed", String(showsWhole));
  if (label) showGrid(one);
  else if (showsWhole) showWhole(one);
  else if (one.place) crop.replaceChildren(picture(one));
  showPoints(one);
  for (const button of document.querySelectorAll(".answer")) {
    if (button instanceof HTMLElement) button.setAttribute("aria-pressed", String(button.dataset.answer === one.decided));
  }
  showProgress();
  for (const next of questions.slice(at + 1, at + 1 + AHEAD)) if (next.place) picture(next);
}

/** Sends what `act` asks for, after what was sent before. @param {() => Promise<void>} act */
function send(act) {
  sending += 1;
  kept.textContent = worded("keeping");
  queue = queue.then(act).then(
    () => {
      sending -= 1;
      if (sending === 0) kept.textContent = worded("kept");
    },
    (error) => {
      sending -= 1;
      kept.textContent = "";
      fault.textContent = error instanceof Refused ? error.message : String(error);
    },
  );
}

/** @param {Question} one */
const place = (one) => ({ test, print: one.print, sheet: String(one.sheet), rule: one.rule });

/** @type {ReturnType<typeof setTimeout> | undefined} */
let calm;
/** @param {number} to */
function go(to) {
  at = Math.max(0, Math.min(questions.length - 1, to));
  fault.textContent = "";
  show();
  clearTimeout(calm);
  calm = setTimeout(() => {
    const one = questions[at];
    if (one) send(async () => void (await post("/marking/cursor", place(one))));
  }, 600);
}

/** Where to go after an answer: the next question that is open, or the next one. */
function after() {
  const open = questions.findIndex((one, index) => index > at && one.decided === null);
  return open >= 0 ? open : Math.min(at + 1, questions.length - 1);
}

/**
 * Decides a question; it is shown as decided at once, and taken back where it could not be kept.
 * @param {Question} one
 * @param {string} decision
 * @param {Question} now
 */
function keep(one, decision, now) {
  const before = one.decided;
  one.decided = decision;
  send(async () => {
    try {
      const answer = await post("/marking/decide", {
        ...place(one), decision, at_print: now.print, at_sheet: String(now.sheet), at_rule: now.rule,
      });
      one.decided = (await answer.json()).decided;
    } catch (error) {
      one.decided = before;
      at = questions.indexOf(one);
      show();
      throw error;
    }
  });
}

/** @param {string} decision */
function answer(decision) {
  const one = questions[at];
  if (!one || (/^\d+$/.test(decision) && Number(decision) > one.most)) return;
  clearTimeout(calm);
  fault.textContent = "";
  const to = after();
  keep(one, decision, questions[to] ?? one);
  say(worded("decided", { what: shown(decision) }));
  at = to;
  show();
}

function undo() {
  clearTimeout(calm);
  fault.textContent = "";
  send(async () => {
    const counts = await (await post("/marking/undo", { test })).json();
    const index = questions.findIndex(
      (one) => one.print === counts.print && one.sheet === counts.sheet && one.rule === counts.rule,
    );
    const one = questions[index];
    if (!one) {
      fault.textContent = worded("elsewhere");
      return;
    }
    one.decided = counts.decided;
    at = index;
    show();
    say(worded("undone"));
    await post("/marking/cursor", place(one));
  });
}

function all() {
  const one = questions[at];
  if (!one || !ruleOf(one).label) return;
  const open = questions.filter((other) => other.rule === one.rule && other.decided === null);
  const last = questions.findLastIndex((other) => other.rule === one.rule);
  const to = questions[Math.min(last + 1, questions.length - 1)] ?? one;
  for (const other of open) keep(other, "met", to);
  at = questions.indexOf(to);
  show();
}

const firstOpen = () => go(Math.max(0, questions.findIndex((one) => one.decided === null)));
const turn = () => {
  showsWhole = !showsWhole;
  show();
};

/** How many cells stand in a row of the grid. */
function across() {
  const cells = [...grid.children];
  const top = cells[0]?.getBoundingClientRect().top;
  return Math.max(1, cells.filter((cell) => cell.getBoundingClientRect().top === top).length);
}

/** @type {Record<string, () => void>} */
const keys = {
  m: () => answer("met"),
  h: () => answer("half"),
  n: () => answer("not met"),
  s: () => go(at + 1),
  u: undo,
  p: turn,
  a: all,
  f: firstOpen,
  ArrowRight: () => go(at + 1),
  ArrowLeft: () => go(at - 1),
};

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || document.querySelector("dialog[open]")) return;
  if (event.target instanceof Element && event.target.matches("input, textarea, select")) return;
  if (!grid.hidden && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
    event.preventDefault();
    const to = at + (event.key === "ArrowDown" ? across() : -across());
    if (questions[to]?.rule === questions[at]?.rule) go(to);
    return;
  }
  const name = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const act = /^[1-9]$/.test(name) ? () => answer(name) : keys[name];
  if (!act) return;
  event.preventDefault();
  act();
});

for (const [id, act] of /** @type {[string, () => void][]} */ ([
  ["#back", () => go(at - 1)], ["#next", () => go(at + 1)], ["#skip", () => go(at + 1)], ["#undo", undo],
  ["#rest", turn], ["#allmet", all], ["#first", firstOpen],
])) the(id, HTMLButtonElement).addEventListener("click", act);

document.querySelector(".answers")?.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("[data-answer]") : null;
  if (button instanceof HTMLElement && button.dataset.answer) answer(button.dataset.answer);
});
grid.addEventListener("click", (event) => {
  const cell = event.target instanceof Element ? event.target.closest("[data-at]") : null;
  if (cell instanceof HTMLElement) go(Number(cell.dataset.at));
});

const list = the("#rulelist", HTMLElement);
list.replaceChildren(...rules.map((rule) => {
  const item = document.createElement("li");
  const button = document.createElement("button");
  button.type = "button";
  button.dataset.rule = rule.id;
  const count = document.createElement("span");
  count.className = "count";
  button.append(rule.text, " ", count);
  button.addEventListener("click", () => {
    const open = questions.findIndex((one) => one.rule === rule.id && one.decided === null);
    go(open >= 0 ? open : questions.findIndex((one) => one.rule === rule.id));
  });
  item.append(button);
  return item;
}));

// What was not yet sent is not lost in silence.
addEventListener("beforeunload", (event) => {
  if (sending > 0) event.preventDefault();
});

show();
