// @ts-check
/** What can be asked of the core, wherever that is: `source.js` knows. */

import { Source } from "./source.js";

/**
 * @typedef {[number, number]} Spot millimetres on the page
 * @typedef {{at_mm: number, text: string}} Tick
 * @typedef {{x_mm: number, name: string}} Line
 * @typedef {{channel: string, title: string, unit: string, x_mm: number, y_mm: number, width_mm: number, height_mm: number,
 *   time_s: Spot, values: Spot, ticks: Tick[], baseline_mm: number | null, bursts: boolean, given: boolean, trace: Spot[][]}} Panel
 * @typedef {{bar: string, title: string, state: string, x_mm: number, y_mm: number, width_mm: number, height_mm: number,
 *   given: boolean, stretches: Spot[]}} Row
 * @typedef {{name: string, place: string, title: string, beat: number, kind: "trace" | "sound" | "bar", start_mm: Spot}} PlacedPoint
 * @typedef {{title: string, told: string, level: number, levels: string[], seed: number, rate_bpm: number, mm_per_s: number,
 *   width_mm: number, height_mm: number, beat_mm: number, panels: Panel[], bars: Row[], lines: Line[], times: Tick[],
 *   points: PlacedPoint[], given_marks: Line[], hearing: {slower: number, pause_s: number}, rules: {id: string, text: string, points: number}[], has_steps: boolean}} Task
 * @typedef {{place: string, lines: Spot[][]}} Ghost
 * @typedef {{line: {told: string, area_mm: [number, number, number, number], line_mm: number | null} | null, cause: string, ghost: Ghost | null}} Hints
 * @typedef {{id: string, text: string, outcome: "met" | "not_met" | "cannot_tell", told: string, way: string, off_mm: number,
 *   off_ms: number | null, tolerance_mm: number, points: number, max_points: number, at_mm: Spot | null, to_mm: Spot | null,
 *   target_mm: Spot | null, hints: Hints}} RuleVerdict
 * @typedef {{rules: RuleVerdict[], points: number, max_points: number, told: string, all_met: boolean,
 *   found: {name: string, channel: string | null, title: string, at_mm: Spot, sure: number}[]}} Verdict
 * @typedef {{title: string, text: string, cause: string, lines: Line[], shown: Ghost[]}} BuildStep
 * @typedef {{kind: "order" | "first" | "between" | "bars", prompt: string, choices: string[], lines: Line[]}} Asked
 * @typedef {{right: boolean, why: string, answer: number[]}} Answered
 * @typedef {{strokes: Record<string, Spot[][]>, bars: Record<string, Spot[]>}} Strokes
 * @typedef {{level: number, seed: number}} Variant
 */

export class Core {
  /**
   * @param {{core: string, definition: unknown, key?: string}} data where the core is, which test it is about, and what
   *   results are signed with
   * @param {string} silent what to say where there is no answer
   */
  constructor(data, silent) {
    this.source = new Source(data.core, data.definition, silent);
    this.key = data.key;
  }

  /** @param {Variant} variant @returns {Promise<Task>} */
  task(variant) {
    return this.source.json("task", variant);
  }

  /** @param {Variant} variant @param {Strokes} drawing @returns {Promise<Verdict>} */
  judge(variant, drawing) {
    return this.source.json("judge", { ...variant, drawing });
  }

  /** The code that says what a drawing came to, on a page that signs. @param {Variant} variant @param {Strokes} drawing @returns {Promise<string>} */
  async code(variant, drawing) {
    return this.key ? this.source.json("code", { ...variant, drawing, key: this.key }) : "";
  }

  /** The strokes that go through points. @param {Variant} variant @param {Spot[]} points @returns {Promise<Strokes>} */
  through(variant, points) {
    return this.source.json("through", { ...variant, points });
  }

  /** @param {Variant} variant @returns {Promise<BuildStep[]>} */
  steps(variant) {
    return this.source.json("steps", variant);
  }

  /** @param {Variant} variant @returns {Promise<Asked[]>} */
  questions(variant) {
    return this.source.json("questions", variant);
  }

  /** @param {Variant} variant @param {number} question @param {number[]} answer @returns {Promise<Answered>} */
  check(variant, question, answer) {
    return this.source.json("check", { ...variant, question, answer });
  }

  /** What is heard, as a WAV file. @param {Variant} variant @param {{trace: string, slowly: boolean}} hear @param {Strokes} drawing */
  sound(variant, hear, drawing) {
    return this.source.sound({ ...variant, hear, drawing });
  }
}
