// @ts-check
/** Landmarks placed one by one: with arrow keys, spoken, or by taking hold of them. */

/** @typedef {import("./core.js").Spot} Spot */

const STEP_MM = [1, 0.2];
/** How long keys rest before the trace follows, in milliseconds. */
const CALM_MS = 120;

export class Points {
  /**
   * @param {import("./core.js").Core} core
   * @param {import("./stage.js").Stage} stage
   * @param {import("./drawing.js").History} history
   * @param {{list: HTMLElement, alike: HTMLInputElement, given: HTMLElement, said: Record<string, string>,
   *   fill: (key: string, ...parts: (string | number)[]) => string, speak: (text: string) => void,
   *   variant: () => import("./core.js").Variant, failed: (error: unknown) => void}} page
   */
  constructor(core, stage, history, page) {
    this.core = core;
    this.stage = stage;
    this.history = history;
    this.page = page;
    this.shown = false;
    this.chosen = 0;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
    this.asked = 0;
    /** @type {Set<string>} places whose trace is to follow */
    this.due = new Set();
    /** @type {Promise<void>} what is under way */
    this.settled = Promise.resolve();
    /** Ends the waiting for what was overtaken. */
    this.release = () => {};
  }

  /** @param {import("./core.js").Task} task */
  begin(task) {
    this.task = task;
    this.chosen = 0;
    const beats = 1 + Math.max(0, ...task.points.map((point) => point.beat));
    const marks = task.given_marks.map((mark) => this.page.fill("at_time", mark.name, this.#ms(mark.x_mm)));
    this.page.given.textContent = marks.join("; ") || "–";
    this.page.given.parentElement?.toggleAttribute("hidden", marks.length === 0);
    /** @type {[string, string][]} */
    const titles = [...task.panels.map((p) => /** @type {[string, string]} */ ([p.channel, p.title])),
      ...task.bars.map((r) => /** @type {[string, string]} */ ([r.bar, r.title]))];
    const places = new Map(titles);
    const groups = [...places].map(([place, title]) => {
      const own = task.points.map((point, index) => ({ point, index })).filter(({ point }) => point.place === place);
      if (!own.length) return null;
      const group = document.createElement("div");
      group.setAttribute("role", "group");
      group.setAttribute("aria-label", title);
      const name = document.createElement("span");
      name.className = "soft";
      name.textContent = title;
      group.append(name, ...own.map(({ point, index }) => this.#button(point, index, beats)));
      return group;
    });
    this.page.list.replaceChildren(...groups.filter((group) => group !== null));
    this.redraw();
  }

  /** @param {import("./core.js").PlacedPoint} point @param {number} index @param {number} beats */
  #button(point, index, beats) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.point = String(index);
    button.textContent = beats > 1 ? this.page.fill("beat", point.title, point.beat + 1) : point.title;
    button.setAttribute("aria-describedby", "points-how");
    button.addEventListener("focus", () => {
      this.chosen = index;
      this.redraw();
      this.stage.reveal(this.history.now.points[index]);
      this.page.speak(this.told(index));
    });
    button.addEventListener("keydown", (event) => this.#key(event, index));
    return button;
  }

  /** @param {boolean} shown */
  show(shown) {
    this.shown = shown;
    this.redraw();
  }

  redraw() {
    const points = this.shown && this.task ? this.history.now.points : [];
    const handle = (/** @type {Spot} */ at, /** @type {number} */ index) => ({
      at, name: this.task?.points[index].title ?? "", chosen: index === this.chosen,
    });
    this.stage.handles(points.map(handle));
    for (const button of this.page.list.querySelectorAll("button")) {
      button.classList.toggle("chosen", button.dataset.point === String(this.chosen));
    }
  }

  /** What a point's place is, in words. @param {number} index */
  told(index) {
    if (!this.task) return "";
    const point = this.task.points[index];
    const [x, y] = this.history.now.points[index];
    const panel = this.task.panels.find((one) => one.channel === point.place);
    const ms = this.#ms(x);
    if (!panel || point.kind === "bar") return this.page.fill("at_time", point.title, ms);
    const [low, high] = panel.values;
    let value = low + ((panel.y_mm + panel.height_mm - y) / panel.height_mm) * (high - low);
    if (point.kind === "sound") value = Math.abs(value);
    const digits = high - low > 20 ? 0 : 2;
    return this.page.fill("at_value", point.title, ms, `${value.toFixed(digits)} ${panel.unit}`.trim());
  }

  /** @param {number} x */
  #ms(x) {
    const panel = this.task?.panels[0];
    if (!panel || !this.task) return 0;
    return Math.round((panel.time_s[0] + (x - panel.x_mm) / this.task.mm_per_s) * 1000);
  }

  /** @param {KeyboardEvent} event @param {number} index */
  #key(event, index) {
    const step = STEP_MM[event.shiftKey ? 1 : 0];
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[/** @type {keyof typeof ways} */ (event.key)];
    if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    this.moveBy(index, [way[0] * step, way[1] * step], event.repeat);
    this.page.speak(this.told(index));
  }

  /** @param {number} index @param {Spot} by @param {boolean} same whether it goes on with the last change */
  moveBy(index, by, same) {
    if (!this.task) return;
    const all = this.task.points;
    const own = all[index];
    const along = (/** @type {number} */ other) =>
      other === index || (this.page.alike.checked && all[other].name === own.name && all[other].place === own.place);
    const place = [...this.task.panels, ...this.task.bars].find((one) => ("bar" in one ? one.bar : one.channel) === own.place);
    if (!place) return;
    const held = (/** @type {number} */ at, /** @type {number} */ least, /** @type {number} */ length) =>
      Math.min(Math.max(at, least), least + length);
    const points = this.history.now.points.map((at, other) => {
      if (!along(other)) return at;
      const high = own.kind === "bar" ? at[1] : held(at[1] + by[1], place.y_mm, place.height_mm);
      return /** @type {Spot} */ ([held(at[0] + by[0], place.x_mm, place.width_mm), high]);
    });
    this.history.put({ points }, same);
    this.redraw();
    this.#follow(own.place);
  }

  /** Draws the trace of a place through its points, once nothing moves. @param {string} place */
  #follow(place) {
    clearTimeout(this.timer);
    this.due.add(place);
    this.release();
    const turn = ++this.asked;
    this.settled = new Promise((done) => {
      this.release = done;
      this.timer = setTimeout(async () => {
        try {
          const through = await this.core.through(this.page.variant(), this.history.now.points);
          if (turn === this.asked) {
            const [strokes, bars] = [{ ...this.history.now.strokes }, { ...this.history.now.bars }];
            for (const own of this.due) {
              if (own in through.bars) bars[own] = through.bars[own];
              else strokes[own] = through.strokes[own] ?? [];
            }
            this.due.clear();
            this.history.put({ strokes, bars }, true);
          }
        } catch (error) {
          this.page.failed(error);
        }
        done();
      }, CALM_MS);
    });
  }

  /** Takes hold of the point at a place. @param {Spot} at @param {number} grip in millimetres */
  drag(at, grip) {
    const points = this.history.now.points;
    const far = ([x, y] = /** @type {Spot} */ ([0, 0])) => Math.hypot(x - at[0], y - at[1]);
    let index = -1;
    for (let n = 0; n < points.length; n++) if (far(points[n]) < grip && (index < 0 || far(points[n]) < far(points[index]))) index = n;
    if (index < 0) return null;
    this.chosen = index;
    this.redraw();
    let last = at;
    let begun = false;
    return {
      move: (/** @type {PointerEvent} */ event) => {
        const now = this.stage.at(event);
        this.moveBy(index, [now[0] - last[0], now[1] - last[1]], begun);
        [last, begun] = [now, true];
      },
      end: () => this.page.speak(this.told(index)),
      stop: () => {},
    };
  }
}
