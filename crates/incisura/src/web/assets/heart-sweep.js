// @ts-check
/**
 * The sweep line: where it stands, what moves it, and all that follows it: the schematic, the dot
 * on the loop, the words, the sound.
 */

import { say, the } from "/common.js";
import { drawSchematic, openValves, valueAt } from "/heart-schematic.js";

/** How far a key moves the line, in seconds. */
const STEP_S = 0.01;
/** The slowest speed at which the sounds are heard; slower they are no sounds any more. */
const SLOWEST_SOUND = 0.5;
const READ = [
  "la_pressure", "ra_pressure", "lv_pressure", "rv_pressure", "aortic_pressure", "pa_pressure",
  "lv_volume", "rv_volume",
];

const section = the("#beat", HTMLElement);
const schematic = the("#schematic", SVGElement);
const figure = the("#figure", HTMLElement);
const cursor = the("#cursor", HTMLElement);
const dot = the("#dot", HTMLElement);
const audio = the("#audio", HTMLAudioElement);
const run = the("#run", HTMLButtonElement);
const when = the("#when", HTMLInputElement);
const speed = the("#speed", HTMLSelectElement);
const stillness = matchMedia("(prefers-reduced-motion: reduce)");

/** @type {import("/heart-schematic.js").Beat} */
let beat = read();
/** Seconds from the beginning of the figure, and whether the line is shown there. */
let at = 0;
let shown = false;
let running = false;
let sounding = false;
/** When the line was last moved by itself. */
let last = 0;
/** @type {() => void} */
let moved = () => {};

/** The beat that the page holds; an empty one where there is no figure. */
function read() {
  const text = document.querySelector("#beat-data")?.textContent;
  return text
    ? JSON.parse(text)
    : { start_s: 0, end_s: 0.8, step_s: 0.01, channels: [], valves: [], phases: [] };
}

const length = () => beat.end_s - beat.start_s;
const isSounding = () => sounding && !audio.paused;

/** Shows everything at the time where the line stands. */
function show() {
  draw();
  place();
}

/** The schematic and the words, which need no measure of the page. */
function draw() {
  const time = beat.start_s + at;
  if (beat.channels.length > 0) drawSchematic(schematic, beat, time);
  tell(time);
}

/** @param {HTMLElement} element @param {number} x @param {number} y both as parts of the figure */
function put(element, x, y) {
  const drawing = document.querySelector(".sheet svg");
  const board = element.parentElement;
  if (!drawing || !board) return;
  const [area, around] = [drawing.getBoundingClientRect(), board.getBoundingClientRect()];
  element.style.left = `${area.left - around.left + x * area.width}px`;
  element.style.top = `${area.top - around.top + y * area.height}px`;
}

/** Puts the line and the dot where the time is. */
function place() {
  const sheet = document.querySelector(".sheet");
  const drawing = sheet?.querySelector("svg");
  const hidden = !shown || !(sheet instanceof HTMLElement) || !drawing;
  cursor.hidden = hidden;
  dot.hidden = true;
  if (hidden) return;
  const { left, right, top, bottom, loop } = sheet.dataset;
  put(cursor, Number(left) + (at / length()) * (Number(right) - Number(left)), Number(top));
  cursor.style.height = `${(Number(bottom) - Number(top)) * drawing.getBoundingClientRect().height}px`;
  if (!loop) return;
  const [x0, left0, x1, right1, y0, bottom0, y1, top1] = loop.split(" ").map(Number);
  const time = beat.start_s + at;
  const x = (valueAt(beat, "lv_volume", time) - x0) / (x1 - x0);
  const y = (valueAt(beat, "lv_pressure", time) - y0) / (y1 - y0);
  dot.hidden = false;
  put(dot, left0 + x * (right1 - left0), bottom0 + y * (top1 - bottom0));
}

/** What the instant is called. @param {number} time */
function words(time) {
  const phase = beat.phases.find(({ from, to }) => from <= time && time < to)?.title;
  const open = openValves(beat, time).map((valve) => valve.title).join(", ");
  return { phase: phase ?? "–", open: open || (section.dataset.none ?? "") };
}

/** @param {number} time */
function tell(time) {
  const { phase, open } = words(time);
  const ms = String(Math.round(time * 1000));
  set("r-time", ms);
  set("r-phase", phase);
  set("r-open", open);
  for (const id of READ) set(`r-${id}`, valueAt(beat, id, time).toFixed(0));
  when.value = String(Math.round(at * 1000));
  when.setAttribute("aria-valuetext", `${ms} ms, ${phase}`);
}

/** @param {string} id @param {string} text */
function set(id, text) {
  const place = document.getElementById(id);
  if (place && place.textContent !== text) place.textContent = text;
}

/** Says what is at the line, for whoever does not see it. */
function speak() {
  const time = beat.start_s + at;
  const { phase, open } = words(time);
  const pressures = beat.channels
    .filter(({ id }) => id.endsWith("_pressure"))
    .map(({ id, label }) => `${label} ${valueAt(beat, id, time).toFixed(0)}`);
  const texts = { time: String(Math.round(time * 1000)), phase, open, pressures: pressures.join(", ") };
  say((section.dataset.spoken ?? "").replace(/\{(\w+)\}/g, (_, name) => texts[/** @type {keyof texts} */ (name)]));
}

/** @param {number} time since the page was opened, in milliseconds */
function frame(time) {
  if (!running) return;
  const rate = Number(speed.value);
  if (isSounding()) at = audio.currentTime % length();
  else at = (at + (Math.min(time - last, 100) / 1000) * rate) % length();
  last = time;
  show();
  requestAnimationFrame(frame);
}

function nameRun() {
  run.textContent = (running ? run.dataset.pause : run.dataset.run) ?? "";
}

/** Lets the line run, unless nothing is to move by itself. */
export function start() {
  shown = !stillness.matches;
  if (stillness.matches) return show();
  if (running) return;
  running = true;
  last = performance.now();
  nameRun();
  requestAnimationFrame(frame);
  if (sounding) hear();
}

/** Lets the line stand still where it is. */
export function pause() {
  const ran = running;
  running = false;
  audio.pause();
  nameRun();
  if (ran) {
    speak();
    moved();
  }
}

/** Whether a sound that was to begin was stopped before, or another took its place. @param {unknown} error */
export const wasCutOff = (error) => error instanceof DOMException && error.name === "AbortError";

/** The line begins at the beginning with the sound, which it follows. */
export function startWithSound() {
  sounding = true;
  at = 0;
  start();
  hear();
}

/** Stops, and puts the line away. */
export function stop() {
  pause();
  sounding = false;
  shown = false;
  show();
}

/** The sound keeps step with the line down to half speed; slower the line goes on in silence. */
function hear() {
  const rate = Number(speed.value);
  audio.preservesPitch = true;
  audio.playbackRate = Math.max(rate, SLOWEST_SOUND);
  audio.muted = rate < SLOWEST_SOUND;
  if (audio.muted) audio.pause();
  else if (sounding && running) {
    audio.currentTime = at;
    audio.play().catch((error) => {
      if (!wasCutOff(error)) throw error;
    });
  }
}

/** Moves the line to a time. @param {number} seconds from the beginning of the figure */
function move(seconds) {
  const whole = Math.floor(length() / STEP_S + 1e-6) * STEP_S;
  at = Math.min(Math.max(Math.round(seconds / STEP_S) * STEP_S, 0), whole);
  shown = true;
  if (sounding) audio.currentTime = at;
  show();
}

/** A step by key or button: the line stands still and says where. @param {number} seconds */
function step(seconds) {
  pause();
  move(seconds);
  speak();
  moved();
}

function toggle() {
  if (running) pause();
  else if (stillness.matches) say(the("#still", HTMLElement).textContent ?? "");
  else start();
}

/** The figure has changed: everything is read anew, and the line stays at its time. */
export function renew() {
  beat = read();
  when.max = String(Math.round(length() * 1000));
  if (at > length()) at %= length();
  draw();
  // Where the line is can only be said once the new figure is laid out, and the next frame does that.
  requestAnimationFrame(place);
}

/** Where the line stands and how fast it runs, as an address carries them. */
export function addressOfLine() {
  const pairs = new URLSearchParams();
  if (shown && !running) pairs.set("at", String(Math.round(at * 1000)));
  if (speed.value !== "1") pairs.set("speed", speed.value);
  return pairs;
}

/**
 * Begins where the address says. `told` hears whenever the line was moved and rests.
 * @param {() => void} told
 */
export function begin(told) {
  const pairs = new URLSearchParams(location.search);
  const wanted = pairs.get("speed");
  if (wanted && [...speed.options].some((option) => option.value === wanted)) speed.value = wanted;
  renew();
  const ms = Number(pairs.get("at"));
  if (pairs.has("at") && Number.isFinite(ms)) move(ms / 1000);
  moved = told;
}

function respect() {
  the("#still", HTMLElement).hidden = !stillness.matches;
  run.disabled = stillness.matches;
  if (stillness.matches && running) {
    running = false;
    nameRun();
  }
}

figure.addEventListener("keydown", (event) => {
  const inside = event.target instanceof Element && event.target !== figure && event.target.closest("a, button, input, select, summary");
  if (inside || event.altKey || event.ctrlKey || event.metaKey) return;
  const acts = /** @type {Record<string, () => void>} */ ({
    ArrowLeft: () => step(at - STEP_S),
    ArrowRight: () => step(at + STEP_S),
    Home: () => step(0),
    End: () => step(length()),
    " ": toggle,
  });
  const act = acts[event.key];
  if (!act) return;
  event.preventDefault();
  act();
});
run.addEventListener("click", toggle);
the("#back", HTMLButtonElement).addEventListener("click", () => step(at - STEP_S));
the("#on", HTMLButtonElement).addEventListener("click", () => step(at + STEP_S));
when.addEventListener("input", (event) => {
  event.stopPropagation();
  pause();
  move(Number(when.value) / 1000);
  moved();
});
speed.addEventListener("input", (event) => {
  event.stopPropagation();
  hear();
  moved();
});
document.addEventListener("click", (event) => {
  const drawing = document.querySelector(".sheet svg");
  const sheet = document.querySelector(".sheet");
  if (!(event.target instanceof Element) || !drawing?.contains(event.target) || !(sheet instanceof HTMLElement)) return;
  if (event.target.closest(".landmark-label, .line")) return;
  const area = drawing.getBoundingClientRect();
  const { left, right, top, bottom } = sheet.dataset;
  const [x, y] = [(event.clientX - area.left) / area.width, (event.clientY - area.top) / area.height];
  if (x < Number(left) || x > Number(right) || y < Number(top) || y > Number(bottom)) return;
  step(((x - Number(left)) / (Number(right) - Number(left))) * length());
});
// Whatever moves the figure takes the line along: the window, a menu that wraps, a taller figure.
new ResizeObserver(place).observe(figure);
addEventListener("resize", place);
document.addEventListener("fullscreenchange", () => requestAnimationFrame(place));
stillness.addEventListener("change", respect);
respect();
