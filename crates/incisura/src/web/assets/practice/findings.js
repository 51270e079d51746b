// @ts-check
/** Feedback rule by rule, each with the way to its place, and hints that tell more and more. */

/** What each sign is, besides its word: no finding is told by colour alone. */
const SIGNS = { met: "✓", not_met: "✗", cannot_tell: "?" };
/** The order in which findings stand. */
const ORDER = { not_met: 0, cannot_tell: 1, met: 2 };

export class Findings {
  /**
   * @param {import("./stage.js").Stage} stage
   * @param {{list: HTMLElement, empty: HTMLElement, score: HTMLElement, leader: SVGSVGElement, bench: HTMLElement,
   *   said: Record<string, string>, fill: (key: string, ...parts: (string | number)[]) => string}} page
   */
  constructor(stage, page) {
    this.stage = stage;
    this.page = page;
    /** @type {import("./core.js").Verdict | null} */
    this.verdict = null;
    /** @type {number | null} */
    this.chosen = null;
    /** @type {Map<string, number>} how many hints of each rule are told */
    this.hinted = new Map();
    for (const name of ["scroll", "resize"]) addEventListener(name, () => this.lead(), { passive: true, capture: true });
  }

  clear() {
    this.verdict = null;
    this.chosen = null;
    this.hinted.clear();
    this.page.list.replaceChildren();
    this.page.empty.hidden = false;
    this.page.score.textContent = "";
    this.#mark();
  }

  /** What was judged is no longer what is drawn. */
  outdate() {
    if (!this.verdict || this.page.list.classList.contains("old")) return;
    this.page.list.classList.add("old");
    this.page.score.textContent = this.page.said.unchecked;
  }

  /** @param {import("./core.js").Verdict} verdict */
  show(verdict) {
    this.verdict = verdict;
    this.chosen = null;
    this.page.empty.hidden = true;
    this.page.list.classList.remove("old");
    const points = this.page.fill("points", round(verdict.points), round(verdict.max_points));
    this.page.score.textContent = `${verdict.all_met ? this.page.said.all_met : verdict.told} ${points}.`;
    const rules = verdict.rules.map((rule, index) => ({ rule, number: index + 1 }));
    rules.sort((a, b) => ORDER[a.rule.outcome] - ORDER[b.rule.outcome]);
    this.page.list.replaceChildren(...rules.map(({ rule, number }) => this.#item(rule, number)));
    this.#mark();
  }

  /** @param {import("./core.js").RuleVerdict} rule @param {number} number */
  #item(rule, number) {
    const item = document.createElement("li");
    item.className = rule.outcome;
    item.value = number;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "finding";
    button.dataset.number = String(number);
    button.setAttribute("aria-pressed", "false");
    const sign = document.createElement("span");
    sign.className = "sign";
    sign.textContent = `${SIGNS[rule.outcome]} ${this.page.said[rule.outcome]}`;
    const text = document.createElement("span");
    text.textContent = `${number}. ${rule.text}`;
    button.append(sign, text);
    button.addEventListener("click", () => this.choose(this.chosen === number ? null : number));
    item.append(button);
    const told = this.#told(rule);
    if (told) {
      const words = document.createElement("p");
      words.textContent = told;
      item.append(words);
    }
    if (rule.outcome !== "met") item.append(this.#ladder(rule, number));
    return item;
  }

  /** @param {import("./core.js").RuleVerdict} rule */
  #told(rule) {
    if (rule.outcome !== "not_met" || !rule.way) return rule.told;
    const [mm, ms] = [Math.abs(rule.off_mm), Math.abs(rule.off_ms ?? 0)];
    const off = rule.off_ms === null
      ? this.page.fill("off", round(mm), rule.way)
      : this.page.fill("off_time", round(mm), Math.round(ms), rule.way);
    return `${off}. ${rule.told}`;
  }

  /** @param {import("./core.js").RuleVerdict} rule @param {number} number */
  #ladder(rule, number) {
    const rungs = ["line", "cause", "ghost"].filter((rung) => rule.hints[/** @type {"line"} */ (rung)]);
    const place = document.createElement("div");
    place.className = "ladder";
    const button = document.createElement("button");
    button.type = "button";
    button.className = "hint";
    const words = document.createElement("p");
    words.setAttribute("aria-live", "polite");
    const set = () => {
      const told = Math.min(this.hinted.get(rule.id) ?? 0, rungs.length);
      const shown = rungs.slice(0, told);
      const parts = [];
      if (shown.includes("line")) parts.push(rule.hints.line?.told);
      if (shown.includes("cause")) parts.push(rule.hints.cause);
      words.textContent = parts.join(" ");
      button.textContent = this.page.said[told < rungs.length ? `hint_${rungs[told]}` : "hint_done"];
      return shown;
    };
    button.addEventListener("click", () => {
      const told = this.hinted.get(rule.id) ?? 0;
      this.hinted.set(rule.id, told >= rungs.length ? 0 : told + 1);
      set();
      this.choose(number);
    });
    set();
    if (rungs.length) place.append(button, words);
    return place;
  }

  /** @param {number | null} number */
  choose(number) {
    this.chosen = number;
    const rule = number === null ? null : this.verdict?.rules[number - 1];
    const hinted = rule && (this.hinted.get(rule.id) ?? 0) > 0;
    const at = rule?.at_mm ?? (hinted && rule.hints.line ? /** @type {[number, number]} */ (rule.hints.line.area_mm.slice(0, 2)) : null);
    if (at) this.stage.reveal(at);
    this.#mark();
  }

  #mark() {
    for (const button of this.page.list.querySelectorAll(".finding")) {
      const own = /** @type {HTMLElement} */ (button).dataset.number === String(this.chosen);
      button.setAttribute("aria-pressed", String(own));
    }
    const all = this.verdict?.rules ?? [];
    const seen = all.flatMap((rule, index) => {
      if (!rule.at_mm) return [];
      return [{ number: index + 1, at_mm: rule.at_mm, target_mm: rule.target_mm, outcome: rule.outcome }];
    });
    this.stage.findings(seen, this.chosen);
    const rule = this.chosen === null ? undefined : all[this.chosen - 1];
    const told = rule ? this.hinted.get(rule.id) ?? 0 : 0;
    const rungs = rule ? ["line", "cause", "ghost"].filter((rung) => rule.hints[/** @type {"line"} */ (rung)]) : [];
    const shown = rungs.slice(0, told);
    this.stage.hint(rule && shown.includes("line") ? rule.hints.line : null);
    this.stage.ghost(rule?.hints.ghost && shown.includes("ghost") ? [rule.hints.ghost] : []);
    this.lead();
  }

  /** The line from a finding to its place on the page. */
  lead() {
    const { leader, bench, list } = this.page;
    const rule = this.chosen === null ? undefined : this.verdict?.rules[this.chosen - 1];
    const button = list.querySelector(`.finding[data-number="${this.chosen}"]`);
    const side = button?.getBoundingClientRect();
    const stage = this.stage.place.getBoundingClientRect();
    const beside = side && side.width > 0 && side.left > stage.right - 1;
    leader.toggleAttribute("hidden", !(rule?.at_mm && beside));
    if (!rule?.at_mm || !side || !beside) return;
    const [x, y] = this.stage.onScreen(rule.at_mm);
    const frame = bench.getBoundingClientRect();
    const line = leader.querySelector("line");
    const ends = { x1: side.left - frame.left, y1: side.top + Math.min(side.height / 2, 14) - frame.top, x2: x - frame.left, y2: y - frame.top };
    for (const [name, value] of Object.entries(ends)) line?.setAttribute(name, value.toFixed(1));
  }
}

/** With at most one decimal. @param {number} value */
export const round = (value) => String(Math.round(value * 10) / 10);
