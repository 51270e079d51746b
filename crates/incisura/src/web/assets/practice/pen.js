// @ts-check
/** Finger, pen and mouse on the stage, and the keys that stand for them. */

import { withBar, withStroke, without, withoutBar } from "./drawing.js";

/** @typedef {import("./core.js").Spot} Spot */

/** Points nearer than this are one, in millimetres. */
const NEAR_MM = 0.08;
/** A line is taken hold of this near to it, in pixels. */
const GRIP_PX = 12;
/** What a key moves, in millimetres: plain, and with Shift. */
const STEP_MM = [1, 0.2];

export class Pen {
  /**
   * @param {import("./stage.js").Stage} stage
   * @param {import("./drawing.js").History} history
   * @param {import("./points.js").Points} points
   * @param {(key: string, ...parts: (string | number)[]) => void} say
   */
  constructor(stage, history, points, say) {
    this.stage = stage;
    this.history = history;
    this.points = points;
    this.say = say;
    this.mode = "draw";
    /** @type {Map<number, Spot>} where on the screen each finger is */
    this.fingers = new Map();
    /** @type {null | {move: (event: PointerEvent) => void, end: () => void, stop: () => void}} */
    this.doing = null;
    this.cursor = 0;
    const place = stage.place;
    place.addEventListener("pointerdown", (event) => this.#down(event));
    place.addEventListener("pointermove", (event) => this.#move(event));
    for (const name of ["pointerup", "pointercancel"]) {
      place.addEventListener(name, (event) => this.#up(/** @type {PointerEvent} */ (event), name === "pointerup"));
    }
    place.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    place.addEventListener("keydown", (event) => this.#key(event));
  }

  /** @param {string} mode */
  choose(mode) {
    this.mode = mode;
    this.stage.place.dataset.mode = mode;
    this.stage.clearTop();
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (event.button !== 0) return;
    this.stage.place.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.fingers.size > 1) {
      // Two fingers move the page; what the first had begun is not meant.
      this.doing?.stop();
      this.doing = null;
      this.stage.clearTop();
      return;
    }
    this.doing = this.#begin(event);
  }

  /** @param {PointerEvent} event */
  #begin(event) {
    const at = this.stage.at(event);
    if (this.mode === "draw") return this.#draw(at);
    if (this.mode === "erase") return this.#erase(at);
    if (this.mode === "line") return this.#line(at);
    if (this.mode === "points") return this.points.drag(at, GRIP_PX / this.stage.scale) ?? this.#pan(event);
    return this.#pan(event);
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    if (this.fingers.size === 2) {
      const other = [...this.fingers].find(([id]) => id !== event.pointerId)?.[1] ?? before;
      const far = (/** @type {Spot} */ [x, y]) => Math.max(Math.hypot(x - other[0], y - other[1]), 1);
      const now = /** @type {Spot} */ ([event.clientX, event.clientY]);
      const middle = this.stage.at({ clientX: (now[0] + other[0]) / 2, clientY: (now[1] + other[1]) / 2 });
      this.stage.zoom(far(before) / far(now), middle);
      this.stage.pan(-(now[0] - before[0]) / 2 / this.stage.scale, -(now[1] - before[1]) / 2 / this.stage.scale);
    }
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (!this.doing) return;
    // A browser may hand over several places at once.
    const all = event.getCoalescedEvents?.() ?? [];
    for (const one of all.length ? all : [event]) this.doing.move(one);
  }

  /** @param {PointerEvent} event @param {boolean} meant */
  #up(event, meant) {
    if (!this.fingers.delete(event.pointerId)) return;
    if (meant) this.doing?.end();
    else this.doing?.stop();
    this.doing = null;
  }

  /** @param {Spot} first */
  #draw(first) {
    const place = this.stage.placeAt(first);
    if (!place) return null;
    const held = (/** @type {Spot} */ [x, y]) => /** @type {Spot} */ ([
      Math.min(Math.max(x, place.x_mm), place.x_mm + place.width_mm),
      Math.min(Math.max(y, place.y_mm - 2), place.y_mm + place.height_mm + 2),
    ]);
    if ("bar" in place) return this.#bar(place, held(first)[0], held);
    /** @type {Spot[]} */
    const stroke = [held(first)];
    return {
      move: (/** @type {PointerEvent} */ event) => {
        const at = held(this.stage.at(event));
        const last = stroke[stroke.length - 1];
        if (Math.hypot(at[0] - last[0], at[1] - last[1]) < NEAR_MM) return;
        stroke.push(at);
        this.stage.drawing(stroke);
      },
      end: () => {
        this.stage.clearTop();
        if (stroke.length < 2) return;
        const strokes = this.history.now.strokes;
        const own = withStroke(strokes[place.channel] ?? [], stroke, place);
        this.history.put({ strokes: { ...strokes, [place.channel]: own } });
        this.say("drawn", place.title);
      },
      stop: () => this.stage.clearTop(),
    };
  }

  /** @param {import("./core.js").Row} row @param {number} from @param {(at: Spot) => Spot} held */
  #bar(row, from, held) {
    let to = from;
    return {
      move: (/** @type {PointerEvent} */ event) => {
        to = held(this.stage.at(event))[0];
        this.stage.band(row, [from, to], "bar own");
      },
      end: () => {
        this.stage.clearTop();
        const bars = this.history.now.bars;
        this.history.put({ bars: { ...bars, [row.bar]: withBar(bars[row.bar] ?? [], [from, to]) } });
        this.say("drawn", row.title);
      },
      stop: () => this.stage.clearTop(),
    };
  }

  /** @param {Spot} first */
  #erase(first) {
    const place = this.stage.placeAt(first);
    if (!place) return null;
    let to = first[0];
    return {
      move: (/** @type {PointerEvent} */ event) => {
        to = this.stage.at(event)[0];
        this.stage.band(place, [first[0], to], "eraser");
      },
      end: () => {
        this.stage.clearTop();
        const stretch = /** @type {Spot} */ (first[0] < to ? [first[0], to] : [to, first[0]]);
        const { strokes, bars } = this.history.now;
        if ("bar" in place) this.history.put({ bars: { ...bars, [place.bar]: withoutBar(bars[place.bar] ?? [], stretch) } });
        else this.history.put({ strokes: { ...strokes, [place.channel]: without(strokes[place.channel] ?? [], stretch) } });
        this.say("erased", place.title);
      },
      stop: () => this.stage.clearTop(),
    };
  }

  /** Puts a line, or takes one along; one that is put beside the page is gone. @param {Spot} first */
  #line(first) {
    const lines = this.history.now.lines;
    const grip = GRIP_PX / this.stage.scale;
    const taken = lines.find((x) => Math.abs(x - first[0]) < grip);
    const others = lines.filter((x) => x !== taken);
    let x = first[0];
    this.stage.cursor(x);
    return {
      move: (/** @type {PointerEvent} */ event) => {
        x = this.stage.at(event)[0];
        this.stage.cursor(x);
      },
      end: () => {
        this.stage.clearTop();
        this.#put(others, x);
      },
      stop: () => this.stage.clearTop(),
    };
  }

  /** @param {number[]} others @param {number} x */
  #put(others, x) {
    const { x_mm, width_mm } = this.stage.task.panels[0];
    if (x >= x_mm && x <= x_mm + width_mm) {
      this.history.put({ lines: [...others, x] });
      this.say("line_at", this.#ms(x));
    } else {
      this.history.put({ lines: others });
      this.say("line_gone");
    }
  }

  /** @param {number} x */
  #ms(x) {
    const { x_mm, time_s } = this.stage.task.panels[0];
    return Math.round((time_s[0] + (x - x_mm) / this.stage.task.mm_per_s) * 1000);
  }

  /** @param {PointerEvent} first */
  #pan(first) {
    let last = first;
    return {
      move: (/** @type {PointerEvent} */ event) => {
        this.stage.pan((last.clientX - event.clientX) / this.stage.scale, (last.clientY - event.clientY) / this.stage.scale);
        last = event;
      },
      end: () => {},
      stop: () => {},
    };
  }

  /** @param {WheelEvent} event */
  #wheel(event) {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    this.stage.zoom(Math.exp(event.deltaY / 300), this.stage.at(event));
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.target !== this.stage.place || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = STEP_MM[event.shiftKey ? 1 : 0];
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[/** @type {keyof typeof ways} */ (event.key)];
    if (this.mode === "line" && (way?.[0] || event.key === "Enter" || event.key === "Delete")) {
      event.preventDefault();
      const { x_mm, width_mm } = this.stage.task.panels[0];
      this.cursor = Math.min(Math.max(this.cursor || x_mm, x_mm), x_mm + width_mm);
      const lines = this.history.now.lines;
      if (way) {
        this.cursor = Math.min(Math.max(this.cursor + way[0] * step, x_mm), x_mm + width_mm);
        this.say("line_at", this.#ms(this.cursor));
      } else if (event.key === "Enter") this.#put(lines, this.cursor);
      else {
        const near = [...lines].sort((a, b) => Math.abs(a - this.cursor) - Math.abs(b - this.cursor))[0];
        if (near !== undefined) this.history.put({ lines: lines.filter((x) => x !== near) });
        this.say("line_gone");
      }
      this.stage.cursor(this.cursor);
      this.stage.reveal([this.cursor, this.stage.view.y + 10]);
    } else if (way) {
      event.preventDefault();
      this.stage.pan(way[0] * step * 5, way[1] * step * 5);
    }
  }
}
