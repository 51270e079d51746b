// @ts-check
/** The page as it is seen: panels, what is given, what is drawn, what was found; nearer and farther. */

/** @typedef {import("./core.js").Spot} Spot */

const SVG = "http://www.w3.org/2000/svg";
/** Grid lines are this far apart, in millimetres. */
const GRID_MM = 5;
/** The nearest view: so many millimetres across. */
const NEAREST_MM = 25;
/** On a narrow screen a beat fills it, so that a millimetre can be drawn with a finger. */
const NARROW_PX = 600;

/**
 * @param {string} kind @param {Record<string, string | number>} attributes @param {string} [text]
 */
export function element(kind, attributes, text) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  if (text !== undefined) made.textContent = text;
  return made;
}

/** @param {Spot[]} points */
const path = (points) => points.map(([x, y], n) => `${n ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("");

export class Stage {
  /** @param {HTMLElement} place @param {Record<string, string>} said */
  constructor(place, said) {
    this.place = place;
    this.said = said;
    this.svg = /** @type {SVGSVGElement} */ (element("svg", { "aria-hidden": "true" }));
    place.replaceChildren(this.svg);
    /** @type {Record<string, SVGElement>} what lies over what */
    this.layers = {};
    for (const name of ["ground", "given", "lines", "hints", "ghost", "drawn", "found", "points", "sweep", "top"]) {
      this.layers[name] = /** @type {SVGElement} */ (element("g", { class: name }));
      this.svg.append(this.layers[name]);
    }
    /** @type {{x: number, y: number, w: number}} */
    this.view = { x: 0, y: 0, w: 100 };
    this.task = /** @type {import("./core.js").Task} */ (/** @type {unknown} */ (null));
    this.moved = () => {};
    /** The view that is kept when the place changes its size, until somebody chooses another. */
    this.usual = "home";
    new ResizeObserver(() => {
      if (!this.task) return;
      if (this.usual === "home") this.home();
      else if (this.usual === "whole") this.whole();
      else this.look();
    }).observe(place);
  }

  /** @param {import("./core.js").Task} task */
  show(task) {
    const same = this.task && this.task.width_mm === task.width_mm && this.task.height_mm === task.height_mm;
    this.task = task;
    for (const layer of Object.values(this.layers)) layer.replaceChildren();
    this.#ground();
    if (!same) this.home();
    else this.look();
  }

  #ground() {
    const { ground, given, lines } = this.layers;
    const task = this.task;
    ground.append(element("rect", { class: "sheet", width: task.width_mm, height: task.height_mm }));
    for (const panel of task.panels) {
      const { x_mm: x, y_mm: y, width_mm: w, height_mm: h } = panel;
      let grid = "";
      for (let at = GRID_MM; at < w - 0.01; at += GRID_MM) grid += `M${x + at} ${y}v${h}`;
      for (let at = GRID_MM; at < h - 0.01; at += GRID_MM) grid += `M${x} ${y + h - at}h${w}`;
      ground.append(element("path", { class: "grid", d: grid }));
      ground.append(element("rect", { class: panel.given ? "frame" : "frame asked", x, y, width: w, height: h }));
      const unit = panel.unit ? ` (${panel.unit})` : "";
      const state = panel.given ? ` · ${this.said.given}` : "";
      ground.append(element("text", { class: "name", x, y: y - 1.6 }, panel.title + unit + state));
      for (const tick of panel.ticks) {
        ground.append(element("path", { class: "tick", d: `M${x - 1.2} ${tick.at_mm}H${x}` }));
        ground.append(element("text", { class: "number end", x: x - 1.8, y: tick.at_mm + 0.9 }, tick.text));
      }
      if (panel.baseline_mm !== null && !panel.given) {
        ground.append(element("path", { class: "baseline", d: `M${x} ${panel.baseline_mm}h${w}` }));
      }
      for (const trace of panel.trace) given.append(element("path", { class: "trace", d: path(trace) }));
    }
    for (const row of task.bars) {
      const middle = row.y_mm + row.height_mm / 2;
      const state = row.given ? ` · ${this.said.given}` : "";
      ground.append(element("path", { class: "tick", d: `M${row.x_mm} ${middle}h${row.width_mm}` }));
      ground.append(element("text", { class: "name", x: row.x_mm, y: row.y_mm - 0.6 }, `${row.title} ${row.state}${state}`));
      for (const stretch of row.stretches) given.append(this.#bar(row, stretch, "bar"));
    }
    const places = [...task.panels, ...task.bars];
    const bottom = Math.max(...places.map((one) => one.y_mm + one.height_mm)) + 1.5;
    const [left, width] = [places[0].x_mm, places[0].width_mm];
    ground.append(element("path", { class: "tick", d: `M${left} ${bottom}h${width}` }));
    for (const tick of task.times) {
      ground.append(element("path", { class: "tick", d: `M${tick.at_mm} ${bottom}v1.2` }));
      ground.append(element("text", { class: "number middle", x: tick.at_mm, y: bottom + 4 }, tick.text));
    }
    ground.append(element("text", { class: "number", x: 0.5, y: bottom + 4 }, "ms"));
    for (const line of task.lines) lines.append(this.upright(line.x_mm, "aligned"));
  }

  /** @param {import("./core.js").Row} row @param {Spot} stretch @param {string} kind */
  #bar(row, [from, to], kind) {
    const height = row.height_mm / 2;
    return element("rect", { class: kind, x: from, y: row.y_mm + height / 2, width: to - from, height });
  }

  /** A line across all panels. @param {number} x @param {string} kind */
  upright(x, kind) {
    const places = [...this.task.panels, ...this.task.bars];
    const bottom = Math.max(...places.map((one) => one.y_mm + one.height_mm));
    return element("path", { class: kind, d: `M${x} ${places[0].y_mm}V${bottom}` });
  }

  /** @param {import("./drawing.js").Drawing} drawing */
  draw(drawing) {
    const all = [];
    for (const strokes of Object.values(drawing.strokes)) {
      for (const stroke of strokes) all.push(element("path", { class: "stroke", d: path(stroke) }));
    }
    for (const row of this.task.bars) {
      for (const bar of drawing.bars[row.bar] ?? []) all.push(this.#bar(row, bar, "bar own"));
    }
    for (const x of drawing.lines) all.push(this.upright(x, "ownline"));
    this.layers.drawn.replaceChildren(...all);
  }

  /** What is being drawn just now. @param {Spot[]} stroke */
  drawing(stroke) {
    this.layers.top.replaceChildren(element("path", { class: "stroke", d: path(stroke) }));
  }

  /** A stretch of a panel, as for erasing. @param {{y_mm: number, height_mm: number}} place @param {Spot} stretch @param {string} kind */
  band(place, [a, b], kind) {
    const [x, width] = [Math.min(a, b), Math.abs(b - a)];
    this.layers.top.replaceChildren(element("rect", { class: kind, x, y: place.y_mm, width, height: place.height_mm }));
  }

  /** @param {number | null} x */
  cursor(x) {
    this.layers.top.replaceChildren(...(x === null ? [] : [this.upright(x, "cursor")]));
  }

  /** Where one is in time. @param {number | null} x */
  sweep(x) {
    this.layers.sweep.replaceChildren(...(x === null ? [] : [this.upright(x, "sweepline")]));
  }

  clearTop() {
    this.layers.top.replaceChildren();
  }

  /** @param {import("./core.js").Ghost[]} ghosts @param {import("./core.js").Line[]} lines */
  ghost(ghosts, lines = []) {
    const all = ghosts.flatMap((ghost) => ghost.lines.map((line) => {
      const bar = this.task.bars.some((row) => row.bar === ghost.place);
      return element("path", { class: bar ? "ghost bar" : "ghost", d: path(line) });
    }));
    for (const line of lines) {
      all.push(this.upright(line.x_mm, "aligned strong"));
      all.push(element("text", { class: "linename", x: line.x_mm + 0.8, y: 2.6 }, line.name));
    }
    this.layers.ghost.replaceChildren(...all);
  }

  /** @param {import("./core.js").Hints["line"]} hint */
  hint(hint) {
    if (!hint) return this.layers.hints.replaceChildren();
    const [left, top, right, bottom] = hint.area_mm;
    const all = [element("rect", { class: "area", x: left, y: top, width: Math.max(right - left, 0.4), height: Math.max(bottom - top, 0.4) })];
    if (hint.line_mm !== null) all.push(this.upright(hint.line_mm, "aligned strong"));
    this.layers.hints.replaceChildren(...all);
  }

  /** @param {{number: number, at_mm: Spot, target_mm: Spot | null, outcome: string}[]} findings @param {number | null} chosen */
  findings(findings, chosen) {
    const all = [];
    for (const one of findings) {
      const [x, y] = one.at_mm;
      const kind = one.number === chosen ? `ring ${one.outcome} chosen` : `ring ${one.outcome}`;
      all.push(element("circle", { class: kind, cx: x, cy: y, r: one.number === chosen ? 2 : 1.3 }));
      if (one.number !== chosen) continue;
      if (one.target_mm) {
        const [to, high] = one.target_mm;
        const panel = [...this.task.panels, ...this.task.bars].find((p) => y >= p.y_mm - 3 && y <= p.y_mm + p.height_mm + 3);
        const across = Math.abs(to - x) >= Math.abs(high - y);
        if (panel) {
          const d = across ? `M${to} ${panel.y_mm}v${panel.height_mm}` : `M${to - 8} ${high}h16`;
          all.push(element("path", { class: "target", d }));
        }
        all.push(element("path", { class: "arrow", d: arrow([x, y], one.target_mm) }));
      }
      all.push(element("text", { class: "ringname", x: x + 2.6, y: y - 2 }, String(one.number)));
    }
    this.layers.found.replaceChildren(...all);
  }

  /** @param {{at: Spot, name: string, chosen: boolean}[]} handles */
  handles(handles) {
    this.layers.points.replaceChildren(...handles.flatMap(({ at, name, chosen }) => {
      const dot = element("circle", { class: chosen ? "handle chosen" : "handle", cx: at[0], cy: at[1], r: chosen ? 1.5 : 1 });
      return chosen ? [dot, element("text", { class: "ringname", x: at[0] + 2, y: at[1] - 2 }, name)] : [dot];
    }));
  }

  // The view.

  get #box() {
    return { width: Math.max(this.place.clientWidth, 1), height: Math.max(this.place.clientHeight, 1) };
  }

  /** Where the page's left upper corner is on the screen. */
  get #corner() {
    const { left, top } = this.place.getBoundingClientRect();
    return [left + this.place.clientLeft, top + this.place.clientTop];
  }

  /** Pixels for a millimetre. */
  get scale() {
    return this.#box.width / this.view.w;
  }

  /** The view that a page begins with. */
  home() {
    const narrow = this.#box.width < NARROW_PX;
    if (!narrow) return this.whole();
    this.usual = "home";
    const first = this.task.panels.findIndex((panel) => !panel.given);
    const above = this.task.panels[Math.max(first - 1, 0)];
    this.view = { x: 0, y: above ? above.y_mm - 7 : 0, w: Math.min(this.task.beat_mm + 16, this.task.width_mm) };
    this.look();
  }

  whole() {
    this.usual = "whole";
    const { width, height } = this.#box;
    this.view = { x: 0, y: 0, w: Math.max(this.task.width_mm, (this.task.height_mm * width) / height) };
    this.look();
  }

  look() {
    const { width, height } = this.#box;
    const most = Math.max(this.task.width_mm, (this.task.height_mm * width) / height);
    const w = Math.min(Math.max(this.view.w, NEAREST_MM), most);
    const h = (w * height) / width;
    const held = (/** @type {number} */ at, /** @type {number} */ seen, /** @type {number} */ all) =>
      seen >= all ? (all - seen) / 2 : Math.min(Math.max(at, 0), all - seen);
    this.view = { x: held(this.view.x, w, this.task.width_mm), y: held(this.view.y, h, this.task.height_mm), w };
    this.svg.setAttribute("viewBox", `${this.view.x} ${this.view.y} ${w} ${h}`);
    this.svg.style.setProperty("--px", String(1 / this.scale));
    this.moved();
  }

  /** @param {number} factor below 1 is nearer @param {Spot} [about] */
  zoom(factor, about) {
    this.usual = "";
    const { width, height } = this.#box;
    const centre = about ?? [this.view.x + this.view.w / 2, this.view.y + (this.view.w * height) / width / 2];
    const w = this.view.w * factor;
    this.view = { x: centre[0] - (centre[0] - this.view.x) * factor, y: centre[1] - (centre[1] - this.view.y) * factor, w };
    this.look();
  }

  /** @param {number} dx @param {number} dy in millimetres */
  pan(dx, dy) {
    this.usual = "";
    this.view = { ...this.view, x: this.view.x + dx, y: this.view.y + dy };
    this.look();
  }

  /** Brings a place into view. @param {Spot} at */
  reveal([x, y]) {
    const { width, height } = this.#box;
    const h = (this.view.w * height) / width;
    const margin = 6;
    const inside = x > this.view.x + margin && x < this.view.x + this.view.w - margin && y > this.view.y + margin && y < this.view.y + h - margin;
    if (inside) return;
    this.usual = "";
    let { x: left, y: top } = this.view;
    if (x < left + margin || x > left + this.view.w - margin) left = x - this.view.w / 2;
    if (y < top + margin || y > top + h - margin) top = y - h / 2;
    this.view = { ...this.view, x: left, y: top };
    this.look();
  }

  /** From the screen to the page. @param {{clientX: number, clientY: number}} event @returns {Spot} */
  at({ clientX, clientY }) {
    const [left, top] = this.#corner;
    return [this.view.x + (clientX - left) / this.scale, this.view.y + (clientY - top) / this.scale];
  }

  /** From the page to the screen. @param {Spot} at @returns {Spot} */
  onScreen([x, y]) {
    const [left, top] = this.#corner;
    return [left + (x - this.view.x) * this.scale, top + (y - this.view.y) * this.scale];
  }

  /** The panel or row at a height that can be drawn in. @param {Spot} at */
  placeAt([, y]) {
    const near = (/** @type {{y_mm: number, height_mm: number}} */ one) =>
      Math.max(one.y_mm - y, y - one.y_mm - one.height_mm, 0);
    const panels = this.task.panels.filter((panel) => !panel.given);
    const rows = this.task.bars.filter((row) => !row.given);
    /** @type {(import("./core.js").Panel | import("./core.js").Row)[]} */
    const all = [...panels, ...rows];
    return all.filter((one) => near(one) < 4).sort((a, b) => near(a) - near(b))[0];
  }
}

/** @param {Spot} from @param {Spot} to */
function arrow([x, y], [toX, toY]) {
  const length = Math.hypot(toX - x, toY - y);
  if (length < 0.5) return "";
  const [ux, uy] = [(toX - x) / length, (toY - y) / length];
  const wing = Math.min(1.4, length / 2);
  const side = (/** @type {number} */ s) => `M${toX} ${toY}l${-ux * wing - s * uy * wing * 0.6} ${-uy * wing + s * ux * wing * 0.6}`;
  return `M${x} ${y}L${toX} ${toY}${side(1)}${side(-1)}`;
}
