// @ts-check
/** What several rooms need. */

/**
 * The one element that `selector` names.
 * @template {Element} T
 * @param {string} selector
 * @param {new () => T} kind
 * @param {ParentNode} [within]
 * @returns {T}
 */
export function the(selector, kind, within = document) {
  const found = within.querySelector(selector);
  if (!(found instanceof kind)) throw new Error(`the page has no ${selector}`);
  return found;
}

/** What the server refused, in its words, with the control they belong beside. */
export class Refused extends Error {
  /**
   * @param {string} message
   * @param {string | null} control
   * @param {number} status
   */
  constructor(message, control, status) {
    super(message);
    this.control = control;
    this.status = status;
  }
}

/** What a page says where the server does not answer. */
export const silent = () => document.body.dataset.silent ?? "";

/**
 * Asks the server; throws [`Refused`] with its words where it does not fulfil.
 * @param {string} url
 * @param {RequestInit} [options]
 */
export async function ask(url, options) {
  let response;
  try {
    response = await fetch(url, options);
  } catch {
    throw new Refused(silent(), null, 0);
  }
  if (response.ok) return response;
  throw new Refused(await response.text(), response.headers.get("x-control"), response.status);
}

/**
 * Posts names and values, as a form does.
 * @param {string} url
 * @param {Record<string, string> | URLSearchParams} fields
 */
export const post = (url, fields) =>
  ask(url, { method: "POST", body: new URLSearchParams(fields) });

/**
 * Puts each part of `text` into the place of its name (`data-slot`).
 * @param {string} text
 */
export function fill(text) {
  const parts = new DOMParser().parseFromString(text, "text/html");
  for (const part of parts.querySelectorAll("[data-slot]")) {
    const place = document.querySelector(`[data-slot="${part.getAttribute("data-slot")}"]`);
    place?.replaceChildren(...part.childNodes);
  }
}

/**
 * Says something to screen readers, and to nobody else.
 * @param {string} text
 */
export function say(text) {
  the("#spoken", HTMLElement).textContent = text;
}

/**
 * Follows a piece of work until it ends; `told` hears of every step. Gives what came of it.
 * @param {string} name
 * @param {(progress: {doing: string, done: number, of: number | null, state: string, said: string}) => void} told
 */
export async function follow(name, told) {
  for (;;) {
    const progress = await (await ask(`/jobs/${encodeURIComponent(name)}`)).json();
    told(progress);
    if (progress.state === "done") return progress.said;
    if (progress.state === "failed") throw new Refused(progress.said, null, 0);
    await new Promise((resolve) => setTimeout(resolve, 300));
  }
}

/**
 * Calls `act` when nothing was changed for a moment, and at once when the page is left.
 * @param {() => void | Promise<void>} act
 * @param {number} [calm] in milliseconds
 */
export function whenCalm(act, calm = 400) {
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let timer;
  const now = () => {
    if (timer === undefined) return;
    clearTimeout(timer);
    timer = undefined;
    void act();
  };
  addEventListener("pagehide", now);
  return () => {
    clearTimeout(timer);
    timer = setTimeout(now, calm);
  };
}
