// @ts-check
/** What is drawn, with every earlier state, so that all of it can be undone. Nothing here changes in place. */

/**
 * @typedef {import("./core.js").Spot} Spot
 * @typedef {{strokes: Record<string, Spot[][]>, bars: Record<string, Spot[]>, lines: number[], points: Spot[]}} Drawing
 */

/** How far a stroke reaches above and below the resting line if it is a whole sound, in millimetres. */
const WHOLE_MM = 1;
/** A bar is at least this long. */
const BAR_MM = 0.5;
/** Most states that are kept. */
const KEPT = 200;

export class History {
  /** @param {Drawing} first @param {() => void} changed */
  constructor(first, changed) {
    this.now = first;
    this.changed = changed;
    /** @type {Drawing[]} */
    this.before = [];
    /** @type {Drawing[]} */
    this.after = [];
  }

  /** @param {Partial<Drawing>} part @param {boolean} [same] whether it goes on with the last change */
  put(part, same = false) {
    if (!same) {
      this.before.push(this.now);
      if (this.before.length > KEPT) this.before.shift();
    }
    this.after = [];
    this.now = { ...this.now, ...part };
    this.changed();
  }

  undo() {
    return this.#turn(this.before, this.after);
  }

  redo() {
    return this.#turn(this.after, this.before);
  }

  /** @param {Drawing[]} from @param {Drawing[]} to */
  #turn(from, to) {
    const state = from.pop();
    if (!state) return false;
    to.push(this.now);
    this.now = state;
    this.changed();
    return true;
  }
}

/** @param {Spot[]} stroke @returns {Spot} left and right end */
export const span = (stroke) => [Math.min(...stroke.map(([x]) => x)), Math.max(...stroke.map(([x]) => x))];

/**
 * The strokes with what lies between `from` and `to` taken away.
 * @param {Spot[][]} strokes @param {Spot} stretch
 */
export function without(strokes, [from, to]) {
  const kept = strokes.flatMap((stroke) => {
    /** @type {Spot[][]} */
    const runs = [[]];
    const point = (/** @type {Spot} */ at) => runs[runs.length - 1].push(at);
    for (let n = 1; n < stroke.length; n += 1) {
      const [a, b] = [stroke[n - 1], stroke[n]];
      // The piece is cut where it crosses an edge, and each part is either in the stretch or not.
      const shares = [from, to].map((edge) => (edge - a[0]) / (b[0] - a[0])).filter((share) => share > 0 && share < 1);
      const cuts = [0, ...shares.sort((one, other) => one - other), 1];
      const at = (/** @type {number} */ share) => /** @type {Spot} */ ([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
      for (let part = 1; part < cuts.length; part += 1) {
        const middle = at((cuts[part - 1] + cuts[part]) / 2)[0];
        if (middle > from && middle < to) {
          if (runs[runs.length - 1].length) runs.push([]);
          continue;
        }
        if (!runs[runs.length - 1].length) point(at(cuts[part - 1]));
        point(at(cuts[part]));
      }
    }
    return runs;
  });
  return kept.filter((run) => run.length > 1);
}

/**
 * The strokes of a panel with another, which takes the place of what it is drawn over. In a panel for
 * sounds strokes add up, until a whole sound is drawn anew.
 * @param {Spot[][]} strokes @param {Spot[]} stroke @param {import("./core.js").Panel} panel
 */
export function withStroke(strokes, stroke, panel) {
  const base = panel.baseline_mm ?? panel.y_mm + panel.height_mm / 2;
  const up = Math.max(...stroke.map(([, y]) => base - y));
  const down = Math.max(...stroke.map(([, y]) => y - base));
  const [from, to] = span(stroke);
  const whole = up > WHOLE_MM && down > WHOLE_MM && to - from > 2 * WHOLE_MM;
  const replaces = !panel.bursts || whole;
  return [...(replaces ? without(strokes, [from, to]) : strokes), stroke];
}

/** @param {Spot[]} bars @param {Spot} bar */
export function withBar(bars, [a, b]) {
  let [from, to] = a < b ? [a, b] : [b, a];
  if (to - from < BAR_MM) return bars;
  const apart = bars.filter((bar) => bar[1] < from || bar[0] > to);
  for (const bar of bars) {
    if (bar[1] < from || bar[0] > to) continue;
    from = Math.min(from, bar[0]);
    to = Math.max(to, bar[1]);
  }
  return [...apart, /** @type {Spot} */ ([from, to])].sort((one, other) => one[0] - other[0]);
}

/** @param {Spot[]} bars @param {Spot} stretch */
export function withoutBar(bars, [from, to]) {
  const parts = bars.flatMap(([left, right]) => /** @type {Spot[]} */ ([[left, Math.min(right, from)], [Math.max(left, to), right]]));
  return parts.filter(([left, right]) => right - left >= BAR_MM);
}

/**
 * Strokes without the tremble of a hand: each point the mean of those near by, tips kept.
 * @param {Spot[][]} strokes
 */
export function smoothed(strokes) {
  const NEAR = 3;
  return strokes.map((stroke) => {
    if (stroke.length < 2 * NEAR) return stroke;
    const [low, high] = [Math.min(...stroke.map(([, y]) => y)), Math.max(...stroke.map(([, y]) => y))];
    return stroke.map((point, index) => {
      const reach = Math.min(NEAR, index, stroke.length - 1 - index);
      // A sharp tip, such as that of the R wave, is meant.
      if (reach === 0 || ((point[1] === low || point[1] === high) && high - low > 4)) return point;
      const near = stroke.slice(index - reach, index + reach + 1);
      const mean = (/** @type {0 | 1} */ axis) => near.reduce((sum, one) => sum + one[axis], 0) / near.length;
      return /** @type {Spot} */ ([mean(0), mean(1)]);
    });
  });
}
