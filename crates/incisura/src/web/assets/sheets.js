// @ts-check
/** The sheets' pages: pages as they will be printed, printing, and the class list. */

import { Refused, ask, fill, follow, post, the } from "/common.js";

const room = document.querySelector(".editing[data-file]");
if (room instanceof HTMLElement) look(room.dataset.file ?? "");
const drop = document.querySelector("#drop");
if (drop instanceof HTMLElement) takeLists(drop);

/** @param {unknown} error */
const told = (error) => (error instanceof Error ? error.message : String(error));

/** @param {string} file */
function look(file) {
  const shown = the("#document", HTMLSelectElement);
  const form = the("#form", HTMLSelectElement);
  const size = the("#size", HTMLSelectElement);
  const pages = the("#pages", HTMLElement);
  const print = the("#print", HTMLFormElement);
  const said = the("#print-said", HTMLElement);
  const bar = the("#print-progress", HTMLProgressElement);
  const address = new URL(location.href);
  let chosen = address.searchParams.get("document") ?? "";
  let letter = address.searchParams.get("form") ?? "";
  size.value = address.searchParams.get("size") === "true" ? "true" : "width";
  let wanted = 0;
  let asking = false;

  async function refresh() {
    wanted += 1;
    if (asking) return;
    asking = true;
    pages.setAttribute("aria-busy", "true");
    let done = 0;
    while (done !== wanted) {
      done = wanted;
      const query = new URLSearchParams({ file, document: chosen, large: String(the("#large", HTMLInputElement).checked) });
      if (letter) query.set("form", letter);
      try {
        fill(await (await ask(`/sheets/pages?${query}`)).text());
      } catch (error) {
        pages.textContent = told(error);
      }
    }
    asking = false;
    pages.setAttribute("aria-busy", "false");
    pages.dataset.drawn = String(done);
  }

  function keep() {
    const now = new URL(location.href);
    for (const [name, value] of [["document", chosen], ["form", letter], ["size", size.value === "true" ? "true" : ""]]) {
      if (value) now.searchParams.set(name, value);
      else now.searchParams.delete(name);
    }
    history.replaceState(null, "", now);
    pages.classList.toggle("true", size.value === "true");
  }

  /** @param {string} part */
  function show(part) {
    for (const button of document.querySelectorAll("button[data-show]")) button.setAttribute("aria-pressed", String(button.getAttribute("data-show") === part));
    for (const one of document.querySelectorAll("[data-shown]")) if (one instanceof HTMLElement) one.hidden = one.dataset.shown !== part;
  }
  for (const button of document.querySelectorAll("button[data-show]")) {
    button.addEventListener("click", () => {
      const now = new URL(location.href);
      const part = button.getAttribute("data-show") ?? "";
      if (part === "print") now.searchParams.set("show", part);
      else now.searchParams.delete("show");
      history.replaceState(null, "", now);
      show(part);
    });
  }
  show(address.searchParams.get("show") === "print" ? "print" : "preview");

  shown.addEventListener("change", () => {
    chosen = shown.value;
    keep();
    void refresh();
  });
  form.addEventListener("change", () => {
    letter = form.value;
    keep();
    void refresh();
  });
  size.addEventListener("change", keep);
  the("#large", HTMLInputElement).addEventListener("change", refresh);
  document.addEventListener("edited", refresh);
  keep();
  void refresh();

  /** @param {string} job */
  async function watch(job) {
    said.textContent = print.dataset.making ?? "";
    bar.hidden = false;
    try {
      await follow(job, (progress) => {
        if (progress.of === null) bar.removeAttribute("value");
        else [bar.max, bar.value] = [progress.of, progress.done];
      });
      said.textContent = print.dataset.made ?? "";
      fill(await (await ask(`/sheets/prints?file=${encodeURIComponent(file)}`)).text());
    } catch (error) {
      said.textContent = told(error);
    }
    bar.hidden = true;
  }

  print.addEventListener("submit", async (event) => {
    event.preventDefault();
    const fields = /** @type {Record<string, string>} */ (Object.fromEntries(new FormData(print)));
    the("#spare", HTMLInputElement).removeAttribute("aria-invalid");
    try {
      await watch(await (await post("/sheets/print", fields)).json());
    } catch (error) {
      said.textContent = told(error);
      if (error instanceof Refused && error.control === "spare") {
        the("#spare", HTMLInputElement).setAttribute("aria-invalid", "true");
        the("#spare", HTMLInputElement).focus();
      }
    }
  });
  if (print.dataset.job) void watch(print.dataset.job);
}

/** @param {HTMLElement} drop */
function takeLists(drop) {
  const input = the("#roster-file", HTMLInputElement);
  const said = the("#roster-said", HTMLElement);
  /** @type {File | null} */
  let list = null;

  /** @param {string} path @param {BodyInit} [body] */
  async function send(path, body) {
    said.textContent = "";
    try {
      fill(await (await ask(`/sheets/roster/${path}`, { method: "POST", body })).text());
      return true;
    } catch (error) {
      said.textContent = told(error);
      return false;
    }
  }

  /** @param {File | undefined} file */
  async function preview(file) {
    the("#understood", HTMLElement).replaceChildren();
    list = file ?? null;
    if (list && (await send("preview", list))) document.querySelector('button[data-roster="take"]')?.scrollIntoView({ block: "nearest" });
    input.value = "";
  }

  input.addEventListener("change", () => preview(input.files?.[0]));
  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => {
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    void preview(event.dataTransfer?.files[0]);
  });
  document.addEventListener("click", async (event) => {
    const button = event.target instanceof Element ? event.target.closest("button[data-roster]") : null;
    if (!(button instanceof HTMLButtonElement)) return;
    const what = button.dataset.roster ?? "";
    if (what === "leave") the("#understood", HTMLElement).replaceChildren();
    else await send(what, what === "take" ? list ?? undefined : undefined);
    input.focus();
  });
}
