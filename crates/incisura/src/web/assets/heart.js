// @ts-check
/**
 * The page of the heart: a control that moves is a new figure.
 *
 * The server draws; this module asks it. One request is under way at a time, and when it
 * is answered the newest state is asked for, so that a moving slider redraws as fast as
 * figures can be made and never falls behind.
 */

import { Refused, ask, fill, post, say, the, whenCalm } from "/common.js";
import { addressOfLine, begin, renew, startWithSound, stop, wasCutOff } from "/heart-sweep.js";

const form = the("#heart", HTMLFormElement);
const audio = the("#audio", HTMLAudioElement);
const play = the("#play", HTMLButtonElement);
const whole = the("#whole", HTMLButtonElement);
const problem = the("#problem", HTMLElement);
const ghost = the("#ghost", HTMLInputElement);
const keep = the("#keep", HTMLButtonElement);
const forget = the("#forget", HTMLButtonElement);

/** @returns {string} the state of all controls, without what is as usual */
function state() {
  const pairs = new URLSearchParams();
  for (const control of form.elements) {
    const isSelect = control instanceof HTMLSelectElement;
    const isNumber = control instanceof HTMLInputElement && control.type === "number";
    if (!isSelect && !isNumber) continue;
    if (control.name && control.value !== control.dataset.usual) pairs.append(control.name, control.value);
  }
  if (ghost.value) pairs.append("ghost", ghost.value);
  for (const name of ["panel", "show", "line"]) {
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
  if (asking) return;
  asking = true;
  while (wanted !== answered) {
    const asked = wanted;
    await draw(asked);
    answered = asked;
  }
  asking = false;
  rest();
}

/** @param {string} asked */
async function draw(asked) {
  try {
    const text = await (await ask(`/heart/view?${asked}`)).text();
    clearFaults();
    fill(text);
    followUsualLines();
    renew();
    if (audio.paused && isOn()) audio.src = soundOf(asked);
  } catch (error) {
    clearFaults();
    complain(error);
  }
  document.documentElement.dataset.drawn = asked;
}

/** @param {unknown} error */
function complain(error) {
  const name = error instanceof Refused ? error.control : null;
  const message = error instanceof Refused ? error.message : String(error);
  const place = name ? document.getElementById(`${name}-fault`) : null;
  (place ?? problem).textContent = message;
  const control = name ? document.getElementById(name) : null;
  control?.setAttribute("aria-invalid", "true");
}

function clearFaults() {
  for (const fault of document.querySelectorAll(".fault")) fault.textContent = "";
  for (const control of form.querySelectorAll("[aria-invalid]")) control.removeAttribute("aria-invalid");
}

/** What follows once the controls rest: the address, the words read aloud, the sound. */
const rest = whenCalm(() => {
  if (asking) return;
  keepAddress();
  say(document.querySelector(".headline")?.textContent ?? "");
  if (!audio.paused) startSound();
});

/** The address says what is shown, and where the sweep line stands. */
function keepAddress() {
  const query = [wanted, addressOfLine().toString()].filter(Boolean).join("&");
  history.replaceState(null, "", query ? `/heart?${query}` : "/heart");
}

/** Where no line was chosen, the switches show the lines that are usual for so many beats. */
function followUsualLines() {
  const sheet = document.querySelector(".sheet");
  const switches = /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input[name=line]")]);
  if (!(sheet instanceof HTMLElement) || switches.some((one) => one.checked !== (one.dataset.usual === "true"))) return;
  const usual = (sheet.dataset.lines ?? "").split(" ");
  for (const one of switches) {
    one.checked = usual.includes(one.value);
    one.dataset.usual = String(one.checked);
  }
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
  let text;
  try {
    text = await (await ask(`/heart?${new URLSearchParams({ condition })}`)).text();
  } catch (error) {
    return complain(error);
  }
  const page = new DOMParser().parseFromString(text, "text/html");
  for (const id of ["sliders", "about", "rhythm", "beats"]) {
    const next = page.getElementById(id);
    if (next) document.getElementById(id)?.replaceWith(document.adoptNode(next));
  }
  document.title = page.title;
  await redraw();
}

/** Whether sounds are wanted, also while the sweep line stands still. */
const isOn = () => play.getAttribute("aria-pressed") === "true";

/** @param {string} heart the state of all controls */
const soundOf = (heart) => `/heart/sounds.wav?${heart}`;

/** The sound of the heart that is shown, from its beginning; the sweep line follows it. */
function startSound() {
  audio.src = soundOf(state());
  audio.play().then(startWithSound, (error) => {
    if (wasCutOff(error)) return;
    problem.textContent = play.dataset.mute ?? "";
    stopSound();
  });
  play.textContent = play.dataset.stop ?? "";
  play.setAttribute("aria-pressed", "true");
}

function stopSound() {
  stop();
  play.textContent = play.dataset.play ?? "";
  play.setAttribute("aria-pressed", "false");
}

/** What makes a heart, without how it is drawn: its condition and what was changed in it. */
function heartOnly() {
  const pairs = new URLSearchParams({ condition: the("#condition", HTMLSelectElement).value });
  const drawing = ["beats", "scale", "panel", "show", "line", "ghost", "condition"];
  for (const [name, value] of new URLSearchParams(state())) if (!drawing.includes(name)) pairs.append(name, value);
  return pairs.toString();
}

/** Keeps a heart to compare with, or none. @param {string} heart */
function compareWith(heart) {
  ghost.value = heart;
  forget.hidden = heart === "";
  keep.textContent = (heart ? keep.dataset.again : keep.dataset.first) ?? "";
  if (!heart && document.activeElement === document.body) keep.focus();
  void redraw();
}

/** A landmark's label gets an alignment line, or loses it. @param {Element} target */
function pin(target) {
  const id = target.closest(".sheet .landmark-label, .sheet .line")?.getAttribute("data-landmark");
  const line = id ? form.querySelector(`input[name=line][value="${id}"]`) : null;
  if (!(line instanceof HTMLInputElement)) return;
  line.checked = !line.checked;
  const all = form.querySelector("input[name=show][value=lines]");
  if (all instanceof HTMLInputElement && line.checked) all.checked = true;
  void redraw();
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
play.addEventListener("click", () => (isOn() ? stopSound() : startSound()));
keep.addEventListener("click", () => compareWith(heartOnly()));
forget.addEventListener("click", () => {
  keep.focus();
  compareWith("");
});
the(".board", HTMLElement).addEventListener("click", (event) => {
  if (event.target instanceof Element) pin(event.target);
});

const dialog = the("#sheet-dialog", HTMLDialogElement);
const sheetForm = the("#sheet-form", HTMLFormElement);
const sheetSaid = the("#sheet-said", HTMLElement);
const sheetTitle = the("#sheet-title", HTMLInputElement);
the("#into-sheet", HTMLButtonElement).addEventListener("click", () => {
  sheetSaid.textContent = "";
  const condition = the("#condition", HTMLSelectElement).selectedOptions[0]?.textContent ?? "";
  sheetTitle.value = `${condition}, ${the("#rate_bpm", HTMLInputElement).value}/min`;
  dialog.showModal();
  sheetTitle.select();
});
the("#sheet-close", HTMLButtonElement).addEventListener("click", () => dialog.close());
sheetForm.addEventListener("submit", async (event) => {
  event.preventDefault();
  const fields = /** @type {Record<string, string>} */ (Object.fromEntries(new FormData(sheetForm)));
  try {
    const made = await (await post(`/heart/sheet?${state()}`, fields)).json();
    const link = document.createElement("a");
    link.href = `/sheets?file=${encodeURIComponent(made.file)}`;
    link.textContent = made.link;
    sheetSaid.replaceChildren(`${made.said} `, link);
  } catch (error) {
    sheetSaid.textContent = error instanceof Refused ? error.message : String(error);
  }
});
begin(keepAddress);

