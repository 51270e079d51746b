// @ts-check
/**
 * Tells a learning-management system the best score, where one has opened the page: by SCORM 2004 or
 * SCORM 1.2, whichever it offers. Elsewhere this does nothing.
 */

/**
 * @typedef {Record<string, (...values: string[]) => string>} Api
 * @typedef {{api: Api, says: Names}} System
 * @typedef {typeof OLD} Names
 */

/** What the two editions call the same things. */
const OLD = {
  api: "API",
  start: "LMSInitialize", get: "LMSGetValue", set: "LMSSetValue", commit: "LMSCommit", finish: "LMSFinish",
  score: "cmi.core.score.", scaled: "", exit: "cmi.core.exit", time: "cmi.core.session_time",
  begun: [["cmi.core.lesson_status", "incomplete"]],
  done: [["cmi.core.lesson_status", "passed"]],
};
/** @type {Names} */
const NEW = {
  api: "API_1484_11",
  start: "Initialize", get: "GetValue", set: "SetValue", commit: "Commit", finish: "Terminate",
  score: "cmi.score.", scaled: "cmi.score.scaled", exit: "cmi.exit", time: "cmi.session_time",
  begun: [["cmi.completion_status", "incomplete"]],
  done: [["cmi.completion_status", "completed"], ["cmi.success_status", "passed"]],
};
/** Frames within frames are gone through no further than this. */
const DEEPEST = 50;

/** The interface in one of the windows around `from`. @param {Window} from @returns {System | null} */
function around(from) {
  let place = from;
  for (let depth = 0; depth < DEEPEST; depth += 1) {
    for (const says of [NEW, OLD]) {
      try {
        const api = /** @type {any} */ (place)[says.api];
        if (api && typeof api[says.start] === "function") return { api, says };
      } catch {
        // A window of another site, which does not let anyone look.
      }
    }
    if (place.parent === place) return null;
    place = place.parent;
  }
  return null;
}

/** How long, as each edition writes it. @param {Names} says @param {number} ms */
function lasting(says, ms) {
  const seconds = Math.floor(ms / 1000);
  const [h, m, s] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  if (says !== OLD) return `PT${h}H${m}M${s}S`;
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  return `${String(h).padStart(4, "0")}:${two(m)}:${two(s)}`;
}

export class Report {
  constructor() {
    this.since = performance.now();
    /** The best share of the points so far, none before the first try. @type {number | null} */
    this.best = null;
    /** @type {System | null} */
    this.system = around(window) ?? (window.opener ? around(window.opener) : null);
    if (!this.system) return;
    const { says } = this.system;
    if (this.#call(says.start, "") !== "true") {
      this.system = null;
      return;
    }
    const kept = this.#call(says.get, `${says.score}raw`);
    if (kept !== "" && Number.isFinite(Number(kept))) this.best = Number(kept) / 100;
    else this.#put(says.begun);
    addEventListener("pagehide", () => this.#finish());
  }

  /** @param {string} name @param {string[]} values */
  #call(name, ...values) {
    try {
      return String(this.system?.api[name](...values));
    } catch {
      // A system that fails does not keep anyone from practising.
      return "";
    }
  }

  /** @param {string[][]} values */
  #put(values) {
    for (const [name, value] of values) this.#call(this.system?.says.set ?? "", name, value);
  }

  /** @param {import("./core.js").Verdict} verdict */
  add({ points, max_points, all_met }) {
    if (!this.system || !(max_points > 0)) return;
    const { says } = this.system;
    const share = points / max_points;
    if (this.best === null || share > this.best) {
      this.best = share;
      const score = [["raw", String(Math.round(share * 1000) / 10)], ["min", "0"], ["max", "100"]];
      this.#put(score.map(([name, value]) => [says.score + name, value]));
      if (says.scaled) this.#put([[says.scaled, String(Math.round(share * 1000) / 1000)]]);
    }
    if (all_met) this.#put(says.done);
    this.#call(says.commit, "");
  }

  /** The system keeps what it was told, so that practice can go on another time. */
  #finish() {
    if (!this.system) return;
    const { says } = this.system;
    this.#put([[says.time, lasting(says, performance.now() - this.since)], [says.exit, "suspend"]]);
    this.#call(says.commit, "");
    this.#call(says.finish, "");
    this.system = null;
  }
}
