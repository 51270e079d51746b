// @ts-check
/**
 * Editing a text of the course as forms and as text.
 *
 * Each change goes to the server on its own, one after another, and the answer says how the text is
 * then. A change that is not yet made waits here; what was refused stays on the page.
 */

import { Refused, ask, the, whenCalm } from "/common.js";

/** @typedef {{version: string, text: string, title: string, in_force: boolean, undoable: number, redoable: number, faults: {line: number, text: string, what: string}[], forms: string}} State */

const found = document.querySelector("#editor");
if (found instanceof HTMLElement) edit(found);

/** @param {HTMLElement} editor */
function edit(editor) {
  const forms = the("#forms", HTMLFieldSetElement);
  const text = the("#text", HTMLTextAreaElement);
  const numbers = the("#numbers", HTMLPreElement);
  const faults = the("#faults", HTMLOListElement);
  const saved = the("#saved", HTMLElement);
  const draft = the("#draft-note", HTMLElement);
  const conflict = the("#conflict", HTMLElement);
  const undo = the("#undo", HTMLButtonElement);
  const redo = the("#redo", HTMLButtonElement);
  const { file = "", action = "" } = editor.dataset;
  let version = editor.dataset.version ?? "";
  /** The text as the server has it. */
  let known = text.value;

  /**
   * Changes that wait, by what they change: a later one takes the place of an earlier.
   * @type {Map<string, {change: object, redraw: boolean, focus?: string}>}
   */
  const waiting = new Map();
  let sending = false;
  let stopped = false;

  /** @param {string} key @param {object} change @param {boolean} redraw @param {string} [focus] */
  function enqueue(key, change, redraw, focus) {
    waiting.set(key, { change, redraw, focus });
    saved.textContent = editor.dataset.saving ?? "";
    void send();
  }

  async function send() {
    if (sending || stopped) return;
    sending = true;
    for (;;) {
      const next = waiting.entries().next().value;
      if (!next) break;
      const [key, one] = next;
      waiting.delete(key);
      try {
        const response = await ask(action, {
          method: "POST",
          keepalive: true,
          headers: { "content-type": "application/json" },
          body: JSON.stringify({ file, seen: version, anyway: editor.dataset.anyway === "yes", ...one.change }),
        });
        show(await response.json(), one);
      } catch (error) {
        refused(error, key, one);
        break;
      }
    }
    sending = false;
  }

  /** @param {unknown} error @param {string} key @param {{change: object, redraw: boolean}} one */
  function refused(error, key, one) {
    saved.textContent = (editor.dataset.notSaved ?? "") + (error instanceof Error ? error.message : String(error));
    const status = error instanceof Refused ? error.status : -1;
    if (status === 409 || status === 0) {
      if (!waiting.has(key)) waiting.set(key, one);
    }
    if (status === 409) {
      saved.textContent = "";
      stopped = true;
      conflict.hidden = false;
      the("#keep-mine", HTMLButtonElement).focus();
    }
  }

  /** @param {State} state @param {{change: object, redraw: boolean, focus?: string}} one */
  function show(state, one) {
    version = state.version;
    the("#title", HTMLElement).textContent = state.title;
    saved.textContent = (state.in_force ? editor.dataset.saved : editor.dataset.draft) ?? "";
    draft.hidden = state.in_force;
    draft.textContent = state.in_force ? "" : editor.dataset.draft ?? "";
    undo.disabled = state.undoable === 0;
    redo.disabled = state.redoable === 0;
    // What was typed meanwhile is not yet known there, and stays.
    if (text.value === known && known !== state.text) {
      const { scrollTop } = text;
      text.value = state.text;
      text.scrollTop = scrollTop;
    }
    known = state.text;
    if (one.redraw) redraw(state.forms, one.focus, "op" in one.change && one.change.op === "add");
    else replaceFaults(state.forms);
    placeFaults();
    showFaults(state.faults);
    document.dispatchEvent(new CustomEvent("edited", { detail: state }));
  }

  /**
   * Other forms, with what was open open and the focus where it was, or where it is to go.
   * @param {string} html @param {string} [focus] @param {boolean} [isNew] whether that is to be opened
   */
  function redraw(html, focus, isNew = false) {
    const active = document.activeElement;
    const at = active instanceof HTMLElement && forms.contains(active) ? whereIs(active) : null;
    const open = [...forms.querySelectorAll("details[open][data-keep]")].map((one) => one.getAttribute("data-keep"));
    const typing = [...typed].map((at) => /** @type {const} */ ([at, valuesAt(at)]));
    const parsed = new DOMParser().parseFromString(html, "text/html");
    forms.replaceChildren(...parsed.body.childNodes);
    for (const [at, values] of typing) putAt(at, values);
    for (const keep of open) {
      const details = forms.querySelector(`details[data-keep="${keep}"]`);
      if (details instanceof HTMLDetailsElement) details.open = true;
    }
    const to = focus ? forms.querySelector(focus) : at ? at() : null;
    if (to instanceof HTMLElement) bring(to, isNew);
  }

  /**
   * Opens what hides an element, and gives it the focus.
   * @param {HTMLElement} element @param {boolean} whole whether what it holds is opened, too
   */
  function bring(element, whole) {
    for (let up = element.closest("details"); up; up = up.parentElement?.closest("details") ?? null) up.open = true;
    const own = whole ? element.querySelector("details") : null;
    if (own) own.open = true;
    element.focus();
    element.scrollIntoView({ block: "nearest" });
  }

  /** @param {HTMLElement} element @returns {() => Element | null | undefined} the same place later */
  function whereIs(element) {
    for (const name of ["at", "add", "move", "remove"]) {
      const value = element.getAttribute(`data-${name}`);
      if (value === null) continue;
      const selector = `[data-${name}="${value}"]`;
      const number = [...forms.querySelectorAll(selector)].indexOf(element);
      return () => forms.querySelectorAll(selector)[number];
    }
    return () => null;
  }

  /**
   * The faults and what else follows the fields, while the fields stay as they are.
   * @param {string} html
   */
  function replaceFaults(html) {
    const parsed = new DOMParser().parseFromString(html, "text/html");
    for (const placed of forms.querySelectorAll("p.fault.placed")) placed.remove();
    const [old, now] = [forms, parsed].map((part) => part.querySelectorAll(".faulty"));
    if (old.length === now.length) old.forEach((place, index) => place.replaceChildren(...now[index].childNodes));
    for (const live of parsed.querySelectorAll("[data-live]")) {
      const place = forms.querySelector(`[data-live="${live.getAttribute("data-live")}"]`);
      if (place) place.textContent = live.textContent;
    }
  }

  /** Puts each fault beside the field whose line it is about. */
  function placeFaults() {
    for (const field of forms.querySelectorAll("[aria-invalid]")) {
      field.removeAttribute("aria-invalid");
      field.removeAttribute("aria-describedby");
    }
    forms.querySelectorAll(".faulty p.fault[data-key]").forEach((fault, number) => {
      const key = fault.getAttribute("data-key");
      const within = fault.closest("[data-index]") ?? forms;
      const field = key ? within.querySelector(`[data-at="${key}"], [data-at$=".${key}"]`) : null;
      if (!field) return;
      fault.id = `fault-${number}`;
      fault.classList.add("placed");
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", fault.id);
      (field.closest(".range, label") ?? field).after(fault);
    });
  }

  /** @param {State["faults"]} all */
  function showFaults(all) {
    faults.replaceChildren(...all.map((fault) => {
      const item = document.createElement("li");
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.line = String(fault.line);
      button.textContent = `${editor.dataset.line} ${fault.line}`;
      const code = document.createElement("code");
      code.textContent = fault.text;
      item.append(button, ` ${fault.what}`, code);
      return item;
    }));
    number(all.map((fault) => fault.line));
  }

  /**
   * Numbers of lines, those at fault marked.
   * @param {number[]} marked
   */
  function number(marked) {
    const count = text.value.split("\n").length;
    numbers.replaceChildren(...Array.from({ length: count }, (_, index) => {
      const line = document.createElement(marked.includes(index + 1) ? "b" : "span");
      line.textContent = `${marked.includes(index + 1) ? "▸" : ""}${index + 1}\n`;
      return line;
    }));
    numbers.scrollTop = text.scrollTop;
  }

  const faultyLines = () => [...faults.querySelectorAll("button")].map((button) => Number(button.dataset.line));

  /** @param {string} at @returns {string[]} */
  function valuesAt(at) {
    /** @type {string[]} */
    const values = [];
    for (const one of forms.querySelectorAll(`[data-at="${at}"]`)) {
      if (one instanceof HTMLInputElement && one.type === "checkbox") {
        if ("flag" in one.dataset) values.push(String(one.checked));
        else if (one.checked) values.push(one.value);
      } else if (one instanceof HTMLInputElement || one instanceof HTMLSelectElement || one instanceof HTMLTextAreaElement) {
        values.push(one.value);
      }
    }
    return values;
  }

  /**
   * Puts back what was typed into fields.
   * @param {string} at @param {string[]} values
   */
  function putAt(at, values) {
    forms.querySelectorAll(`[data-at="${at}"]`).forEach((one, index) => {
      const isTyped = one instanceof HTMLTextAreaElement || (one instanceof HTMLInputElement && one.type === "text");
      if (isTyped) one.value = values[index] ?? one.value;
    });
  }

  /** Fields that were typed in and not yet sent. @type {Set<string>} */
  const typed = new Set();
  const sendTyped = () => {
    for (const at of typed) enqueue(`set ${at}`, { op: "set", at, value: valuesAt(at) }, false);
    typed.clear();
  };
  const typedCalm = whenCalm(sendTyped, 500);
  const sendText = () => {
    if (text.value !== known) enqueue("text", { op: "text", text: text.value }, false);
  };
  const textCalm = whenCalm(sendText, 500);

  forms.addEventListener("input", (event) => {
    const target = event.target;
    if (!(target instanceof HTMLElement) || !target.dataset.at) return;
    const at = target.dataset.at;
    if ("redraw" in target.dataset) {
      sendTyped();
      enqueue(`set ${at}`, { op: "set", at, value: valuesAt(at) }, true);
    } else {
      typed.add(at);
      saved.textContent = editor.dataset.saving ?? "";
      typedCalm();
    }
  });

  forms.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!button) return;
    const { add, move, remove, index, to, after } = button.dataset;
    sendTyped();
    const key = `step ${Math.random()}`;
    const near = /** @param {string} list @param {number} place */ (list, place) => `#${list}-${Math.max(0, place)}`;
    if (add) {
      const place = after === undefined ? forms.querySelectorAll(`[data-list="${add}"]`).length : Number(after) + 1;
      enqueue(key, { op: "add", table: add, after: after === undefined ? null : Number(after) }, true, near(add, place));
    } else if (move) {
      enqueue(key, { op: "move", table: move, index: Number(index), to: Number(to) }, true, near(move, Number(to)));
    } else if (remove) {
      enqueue(key, { op: "remove", table: remove, index: Number(index) }, true, near(remove, Number(index) - 1));
    }
  });

  forms.addEventListener("keydown", (event) => {
    if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    const card = event.target instanceof Element ? event.target.closest("[data-index]") : null;
    const button = card?.querySelectorAll("button[data-move]")[event.key === "ArrowUp" ? 0 : 1];
    if (button instanceof HTMLButtonElement && !button.disabled) {
      event.preventDefault();
      button.click();
    }
  });

  text.addEventListener("input", () => {
    saved.textContent = editor.dataset.saving ?? "";
    number(faultyLines());
    textCalm();
  });
  text.addEventListener("scroll", () => (numbers.scrollTop = text.scrollTop));
  faults.addEventListener("click", (event) => {
    const line = event.target instanceof HTMLElement ? Number(event.target.dataset.line) : 0;
    if (line) goTo(line);
  });

  /** @param {number} line */
  function goTo(line) {
    const lines = text.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
    text.focus();
    text.setSelectionRange(start, start + (lines[line - 1]?.length ?? 0));
    const height = text.scrollHeight / Math.max(1, lines.length);
    text.scrollTop = Math.max(0, (line - 6) * height);
  }

  /** @param {"undo" | "redo"} op */
  function step(op) {
    sendTyped();
    sendText();
    enqueue(`step ${Math.random()}`, { op }, true);
  }
  undo.addEventListener("click", () => step("undo"));
  redo.addEventListener("click", () => step("redo"));
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof Element && event.target.matches("input[type=text], textarea");
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || typing) return;
    event.preventDefault();
    const button = event.shiftKey ? redo : undo;
    if (!button.disabled) step(event.shiftKey ? "redo" : "undo");
  });

  the("#show-theirs", HTMLButtonElement).addEventListener("click", () => {
    waiting.clear();
    location.reload();
  });
  the("#keep-mine", HTMLButtonElement).addEventListener("click", async () => {
    const state = await (await ask(`${action.replace(/change$/, "state")}?file=${encodeURIComponent(file)}`)).json();
    version = state.version;
    stopped = false;
    conflict.hidden = true;
    void send();
  });
  // The program may have been started again meanwhile.
  setInterval(() => void (waiting.size && send()), 3000);
  addEventListener("beforeunload", (event) => {
    if (waiting.size || typed.size || sending) event.preventDefault();
  });

  for (const button of editor.querySelectorAll("button[data-as]")) {
    button.addEventListener("click", () => {
      const as = button.getAttribute("data-as");
      for (const other of editor.querySelectorAll("button[data-as]")) other.setAttribute("aria-pressed", String(other === button));
      forms.hidden = as !== "forms";
      the("#as-text", HTMLElement).hidden = as !== "text";
      const address = new URL(location.href);
      if (as === "text") address.searchParams.set("as", "text");
      else address.searchParams.delete("as");
      history.replaceState(null, "", address);
      sendTyped();
      sendText();
      if (as === "text") number(faultyLines());
      else void refresh();
    });
  }

  /** The forms as the text has them now. */
  async function refresh() {
    if (waiting.size || sending) return void setTimeout(refresh, 100);
    try {
      show(await (await ask(`${action.replace(/change$/, "state")}?file=${encodeURIComponent(file)}`)).json(), { change: {}, redraw: true });
      saved.textContent = "";
    } catch (error) {
      saved.textContent = error instanceof Error ? error.message : String(error);
    }
  }

  document.querySelector("#unlock")?.addEventListener("click", () => {
    editor.dataset.anyway = "yes";
    forms.disabled = false;
    text.readOnly = false;
    document.querySelector("#printed-note")?.remove();
    forms.focus();
  });
  number(faultyLines());
  placeFaults();
}
