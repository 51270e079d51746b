// @ts-check
/**
 * The page of the heart: a control that moves is a new figure.
 *
 * The server draws; this module asks it. One request is under way at a time, and when it
 * is answered the newest state is asked for, so that a moving slider redraws as fast as
 * figures can be made and never falls behind.
 */

import { the } from "/common.js";

/** How long the controls rest before the address and the spoken summary follow. */
const CALM_MS = 400;

const form = the("#heart", HTMLFormElement);
const audio = the("#audio", HTMLAudioElement);
const play = the("#play", HTMLButtonElement);
const whole = the("#whole", HTMLButtonElement);
const cursor = the("#cursor", HTMLElement);
const problem = the("#problem", HTMLElement);
const spoken = the("#spoken", HTMLElement);
const stillness = matchMedia("(prefers-reduced-motion: reduce)");

/** @returns {string} the state of all controls, without what is as usual */
function state() {
  const pairs = new URLSearchParams();
  for (const control of form.elements) {
    const isSelect = control instanceof HTMLSelectElement;
    const isNumber = control instanceof HTMLInputElement && control.type === "number";
    if (!isSelect && !isNumber) continue;
    if (control.name && control.value !== control.dataset.usual) pairs.append(control.name, control.value);
  }
  for (const name of ["panel", "show"]) {
    const switches = /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll(`input[type=checkbox][name=${name}]`)]);
    if (switches.every((one) => one.checked === (one.dataset.usual === "true"))) continue;
    pairs.append(name, "");
    for (const one of switches) if (one.checked) pairs.append(name, one.value);
  }
  return pairs.toString();
}

/** The state wanted, and the state that is shown or was refused. */
let wanted = state();
let answered = wanted;
let asking = false;
document.documentElement.dataset.drawn = answered;

async function redraw() {
  wanted = state();
  whenCalm();
  if (asking) return;
  asking = true;
  while (wanted !== answered) {
    const asked = wanted;
    await draw(asked);
    answered = asked;
  }
  asking = false;
}

/** @param {string} asked */
async function draw(asked) {
  try {
    const response = await fetch(`/heart/view?${asked}`);
    const text = await response.text();
    clearFaults();
    if (response.ok) fill(text);
    else complain(response.headers.get("x-control"), text);
  } catch {
    problem.textContent = "incisura does not answer; start it again and reload this page";
  }
  document.documentElement.dataset.drawn = asked;
}

/**
 * Puts each part of `text` into the place of its name.
 * @param {string} text
 */
function fill(text) {
  const parts = new DOMParser().parseFromString(text, "text/html");
  for (const part of parts.querySelectorAll("[data-slot]")) {
    const place = document.querySelector(`[data-slot="${part.getAttribute("data-slot")}"]`);
    place?.replaceChildren(...part.childNodes);
  }
}

/**
 * @param {string | null} name of the control at fault
 * @param {string} message
 */
function complain(name, message) {
  const place = name ? document.getElementById(`${name}-fault`) : null;
  (place ?? problem).textContent = message;
  const control = name ? document.getElementById(name) : null;
  control?.setAttribute("aria-invalid", "true");
}

function clearFaults() {
  for (const fault of document.querySelectorAll(".fault")) fault.textContent = "";
  for (const control of form.querySelectorAll("[aria-invalid]")) control.removeAttribute("aria-invalid");
}

/** @type {ReturnType<typeof setTimeout> | undefined} */
let calm;

/** What follows once the controls rest: the address, the words read aloud, the sound. */
function whenCalm() {
  clearTimeout(calm);
  calm = setTimeout(() => {
    if (asking) return whenCalm();
    history.replaceState(null, "", wanted ? `/heart?${wanted}` : "/heart");
    spoken.textContent = document.querySelector(".headline")?.textContent ?? "";
    if (!audio.paused) startSound();
  }, CALM_MS);
}

/**
 * Lets a slider and its number say the same.
 * @param {HTMLInputElement} moved
 */
function couple(moved) {
  const name = moved.dataset.for ?? moved.name;
  const slider = form.querySelector(`input[data-for="${name}"]`);
  const number = document.getElementById(name);
  if (!(slider instanceof HTMLInputElement && number instanceof HTMLInputElement)) return;
  if (moved === slider) number.value = slider.value;
  else slider.value = number.value;
  const unit = document.getElementById(`${name}-unit`)?.firstChild?.textContent ?? "";
  slider.setAttribute("aria-valuetext", `${number.value} ${unit}`);
}

/** Another condition brings its own numbers, so its page takes the place of this one's. */
async function changeCondition() {
  const condition = the("#condition", HTMLSelectElement).value;
  const kept = new URLSearchParams(state());
  for (const number of form.querySelectorAll("input[type=number]")) kept.delete(number.id);
  for (const name of ["rhythm", "beats"]) kept.delete(name);
  kept.set("condition", condition);
  const response = await fetch(`/heart?${kept}`);
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  for (const id of ["sliders", "about", "rhythm", "beats"]) {
    const next = page.getElementById(id);
    if (next) document.getElementById(id)?.replaceWith(document.adoptNode(next));
  }
  document.title = page.title;
  await redraw();
}

/** The sound of the heart that is shown, from its beginning. */
function startSound() {
  audio.src = `/heart/sounds.wav?${state()}`;
  audio.play().then(follow, () => {
    problem.textContent = "the sound cannot be played; check that this computer has a loudspeaker";
    stopSound();
  });
  play.textContent = "Stop heart sounds";
  play.setAttribute("aria-pressed", "true");
}

function stopSound() {
  audio.pause();
  cursor.hidden = true;
  play.textContent = "Play heart sounds";
  play.setAttribute("aria-pressed", "false");
}

/** Keeps the cursor where the sound is, frame by frame, unless movement is not wanted. */
function follow() {
  if (audio.paused || stillness.matches) {
    cursor.hidden = true;
    return;
  }
  const sheet = document.querySelector(".sheet");
  const drawing = sheet?.querySelector("svg");
  if (sheet instanceof HTMLElement && drawing) {
    const { left, right, top, bottom, seconds } = sheet.dataset;
    const part = (audio.currentTime % Number(seconds)) / Number(seconds);
    const area = drawing.getBoundingClientRect();
    const board = /** @type {HTMLElement} */ (cursor.parentElement).getBoundingClientRect();
    const x = Number(left) + part * (Number(right) - Number(left));
    cursor.style.left = `${area.left - board.left + x * area.width}px`;
    cursor.style.top = `${area.top - board.top + Number(top) * area.height}px`;
    cursor.style.height = `${(Number(bottom) - Number(top)) * area.height}px`;
    cursor.hidden = false;
  }
  requestAnimationFrame(follow);
}

form.addEventListener("input", (event) => {
  if (event.target instanceof HTMLInputElement) couple(event.target);
  if (event.target instanceof HTMLSelectElement && event.target.id === "condition") changeCondition();
  else redraw();
});
form.addEventListener("submit", (event) => event.preventDefault());
the("#reset", HTMLButtonElement).addEventListener("click", changeCondition);
whole.hidden = !document.fullscreenEnabled;
whole.addEventListener("click", () => the(".board", HTMLElement).requestFullscreen());
play.addEventListener("click", () => (audio.paused ? startSound() : stopSound()));
