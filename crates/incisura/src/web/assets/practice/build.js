// @ts-check
/** Building along: one step after the other, each to draw, to look at, and to ask why of. */

export class Build {
  /**
   * @param {import("./core.js").Core} core
   * @param {import("./stage.js").Stage} stage
   * @param {{place: HTMLDetailsElement, said: Record<string, string>, variant: () => import("./core.js").Variant,
   *   fill: (key: string, ...parts: (string | number)[]) => string, failed: (error: unknown) => void}} page
   */
  constructor(core, stage, page) {
    this.core = core;
    this.stage = stage;
    this.page = page;
    /** @type {import("./core.js").BuildStep[]} */
    this.steps = [];
    this.at = 0;
    this.shown = false;
    this.why = false;
    page.place.addEventListener("toggle", () => this.#toggled());
    this.#on("#build-back", () => this.go(this.at - 1));
    this.#on("#build-next", () => this.go(this.at + 1));
    this.#on("#build-show", () => {
      this.shown = !this.shown;
      this.set();
    });
    this.#on("#build-why", () => {
      this.why = !this.why;
      this.set();
    });
  }

  /** @param {string} name */
  #find(name) {
    return /** @type {HTMLElement} */ (this.page.place.querySelector(name));
  }

  /** @param {string} name @param {() => void} act */
  #on(name, act) {
    this.#find(name).addEventListener("click", act);
  }

  /** Another task: what was read of the last one is forgotten. */
  forget() {
    this.steps = [];
    if (this.page.place.open) void this.#toggled();
  }

  async #toggled() {
    if (!this.page.place.open) return this.stage.ghost([]);
    try {
      if (!this.steps.length) this.steps = await this.core.steps(this.page.variant());
    } catch (error) {
      return this.page.failed(error);
    }
    this.go(0);
  }

  /** @param {number} step */
  go(step) {
    this.at = Math.min(Math.max(step, 0), Math.max(this.steps.length - 1, 0));
    this.shown = false;
    this.why = false;
    this.set();
  }

  set() {
    const step = this.steps[this.at];
    const buttons = ["#build-back", "#build-next", "#build-show", "#build-why"].map((name) => /** @type {HTMLButtonElement} */ (this.#find(name)));
    for (const button of buttons) button.disabled = !step;
    buttons[0].disabled ||= this.at === 0;
    buttons[1].disabled ||= this.at + 1 >= this.steps.length;
    buttons[2].setAttribute("aria-pressed", String(this.shown));
    buttons[3].setAttribute("aria-expanded", String(this.why));
    this.#find("#build-title").textContent = step
      ? this.page.fill("step", this.at + 1, this.steps.length, step.title)
      : this.page.said.no_steps;
    this.#find("#build-text").textContent = step?.text ?? "";
    const cause = this.#find("#build-cause");
    cause.textContent = step?.cause ?? "";
    cause.hidden = !this.why;
    this.stage.ghost(this.shown && step ? step.shown : [], step?.lines ?? []);
  }
}
