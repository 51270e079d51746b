// @ts-check
/** The room of recordings: bringing files in, and one recording with all that follows from it. */

import { Refused, ask, fill, follow, say, silent, the, whenCalm } from "/common.js";
import { openStrip } from "/recordings/strip.js";

/** @param {unknown} error */
const words = (error) => (error instanceof Refused ? error.message : String(error));

const drop = document.querySelector("#drop");
if (drop instanceof HTMLElement) bringing(drop);

const working = document.querySelector("#working");
if (working instanceof HTMLElement) wait(working);

const room = document.querySelector("#recording");
if (room instanceof HTMLElement && document.querySelector("#strip-drawing")) recording(room);

/**
 * Files are dropped or chosen, and copied one after another.
 * @param {HTMLElement} place
 */
function bringing(place) {
  const input = the("#files", HTMLInputElement, place);
  const bar = the("#bringing", HTMLProgressElement, place);
  const said = the("#brought", HTMLElement, place);
  let busy = false;

  /** @param {File[]} files */
  async function bring(files) {
    if (busy || files.length === 0) return;
    busy = true;
    bar.hidden = false;
    let opened = "";
    try {
      for (const file of files) {
        if (file.size > Number(place.dataset.most)) throw new Refused(`${file.name}: ${place.dataset.tooLarge}`, null, 0);
        said.textContent = `${place.dataset.bringing} ${file.name}`;
        const put = await copy(file, (share) => (bar.value = share));
        if (put.opens && (!opened || file.name.toLowerCase().endsWith(".hea"))) opened = put.file;
      }
      if (opened) {
        said.textContent = place.dataset.brought ?? "";
        location.assign(`/recordings?${new URLSearchParams({ file: opened })}`);
      } else {
        said.textContent = place.dataset.noHeader ?? "";
      }
    } catch (error) {
      said.textContent = words(error);
    }
    bar.hidden = true;
    busy = false;
    input.value = "";
  }

  input.addEventListener("change", () => bring([...(input.files ?? [])]));
  const over = (/** @type {boolean} */ is) => place.classList.toggle("over", is);
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    over(true);
  });
  document.addEventListener("dragleave", (event) => {
    if (event.relatedTarget === null) over(false);
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    void bring([...(event.dataTransfer?.files ?? [])]);
  });
}

/**
 * Sends a file's bytes as they lie on the disk, and tells how far it is.
 * @param {File} file
 * @param {(share: number) => void} told
 * @returns {Promise<{file: string, opens: boolean}>}
 */
function copy(file, told) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("PUT", `/recordings/file?${new URLSearchParams({ name: file.name })}`);
    request.upload.addEventListener("progress", (event) => told(event.loaded / Math.max(event.total, 1)));
    request.addEventListener("load", () => {
      if (request.status === 200) resolve(JSON.parse(request.responseText));
      else reject(new Refused(`${file.name}: ${request.responseText}`, null, request.status));
    });
    request.addEventListener("error", () => reject(new Refused(`${file.name}: ${silent()}`, null, 0)));
    request.send(file);
  });
}

/**
 * Follows the search for beats, and shows the page anew when it is done.
 * @param {HTMLElement} place
 */
function wait(place) {
  const bar = the("progress", HTMLProgressElement, place);
  const doing = the(".doing", HTMLElement, place);
  follow(place.dataset.job ?? "", (progress) => {
    doing.textContent = progress.doing;
    if (progress.of === null) bar.removeAttribute("value");
    else [bar.max, bar.value] = [Math.max(progress.of, 1), progress.done];
  }).then(
    () => location.reload(),
    (error) => (doing.textContent = words(error)),
  );
}

/**
 * One recording.
 * @param {HTMLElement} room
 */
function recording(room) {
  const problem = the("#problem", HTMLElement);
  const choices = the("#choices", HTMLFormElement);
  const fixed = new URLSearchParams(room.dataset.choices);
  const kept = new URLSearchParams(location.search);
  for (const name of ["show", "condition", "convention"]) {
    for (const value of kept.getAll(name)) fixed.append(name, value);
  }

  const strip = openStrip({
    query: () => new URLSearchParams(fixed),
    moved: whenCalm(settled),
    corrected: refresh,
    complain: (text) => (problem.textContent = text),
  });

  /** The address and the files' addresses follow the view. */
  function settled() {
    const state = strip.state();
    history.replaceState(null, "", `/recordings?${state}`);
    const worksheet = document.querySelector("#worksheet");
    const sheet = worksheet instanceof HTMLFormElement ? [...new FormData(worksheet)] : [];
    for (const link of document.querySelectorAll("a[data-file]")) {
      if (!(link instanceof HTMLAnchorElement)) continue;
      const wanted = new URLSearchParams(state);
      if (link.dataset.file?.endsWith(".pdf")) for (const [name, value] of sheet) wanted.set(name, String(value));
      link.href = `/recordings/${link.dataset.file}?${wanted}`;
    }
  }

  let asked = 0;
  /** What follows from the beats, anew; of several only the last is shown. */
  async function refresh() {
    const mine = ++asked;
    const parts = document.querySelectorAll("[data-slot=measured], [data-slot=average], [data-slot=rules]");
    for (const part of parts) part.setAttribute("aria-busy", "true");
    try {
      const text = await (await ask(`/recordings/results?${strip.state()}`)).text();
      if (mine !== asked) return;
      fill(text);
      problem.textContent = "";
    } catch (error) {
      problem.textContent = words(error);
    }
    for (const part of parts) part.removeAttribute("aria-busy");
    document.documentElement.dataset.refreshed = String(mine);
  }

  choices.addEventListener("change", (event) => {
    const changed = event.target instanceof HTMLInputElement ? event.target.name : "";
    const state = strip.state();
    const next = new URLSearchParams();
    for (const [name, value] of new FormData(choices)) {
      const usual = name === "show" && changed !== "show" && !state.has("show");
      if (value !== "" && !usual) next.append(name, String(value));
    }
    for (const name of ["at", "span", "condition", "convention"]) {
      const value = state.get(name);
      if (value !== null) next.set(name, value);
    }
    location.assign(`/recordings?${next}`);
  });

  for (const name of ["condition", "convention"]) {
    const select = document.getElementById(name);
    if (!(select instanceof HTMLSelectElement)) continue;
    select.addEventListener("change", () => {
      fixed.set(name, select.value);
      settled();
      void refresh();
      say(select.selectedOptions[0]?.textContent ?? "");
    });
  }
  document.querySelector("#worksheet")?.addEventListener("change", settled);
  settled();
}
