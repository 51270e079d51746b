// @ts-check
/** Questions that the rules imply, one at a time, with the answer's reason. */

export class Quiz {
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
    /** @type {import("./core.js").Asked[]} */
    this.all = [];
    this.at = 0;
    /** @type {number[]} the choices in the order in which they stand */
    this.order = [];
    page.place.addEventListener("toggle", () => this.#toggled());
    this.#find("#quiz-answer").addEventListener("click", () => this.#answer());
    this.#find("#quiz-next").addEventListener("click", () => this.go((this.at + 1) % Math.max(this.all.length, 1)));
  }

  /** @param {string} name */
  #find(name) {
    return /** @type {HTMLElement} */ (this.page.place.querySelector(name));
  }

  forget() {
    this.all = [];
    if (this.page.place.open) void this.#toggled();
  }

  async #toggled() {
    if (!this.page.place.open) return this.stage.ghost([]);
    try {
      if (!this.all.length) this.all = await this.core.questions(this.page.variant());
    } catch (error) {
      return this.page.failed(error);
    }
    this.go(0);
  }

  /** @param {number} question */
  go(question) {
    this.at = question;
    const asked = this.all[question];
    for (const name of ["#quiz-answer", "#quiz-next"]) /** @type {HTMLButtonElement} */ (this.#find(name)).disabled = !asked;
    this.#find("#quiz-number").textContent = asked ? this.page.fill("question", question + 1, this.all.length) : "";
    this.#find("#quiz-prompt").textContent = asked?.prompt ?? this.page.said.no_questions;
    this.#find("#quiz-said").textContent = "";
    this.stage.ghost([], asked?.lines ?? []);
    this.order = asked ? asked.choices.map((_, index) => index) : [];
    this.#choices();
  }

  #choices() {
    const place = this.#find("#quiz-choices");
    const asked = this.all[this.at];
    if (!asked) return place.replaceChildren();
    if (asked.kind === "order") return place.replaceChildren(this.#list(asked));
    const kind = asked.kind === "first" ? "radio" : "checkbox";
    place.replaceChildren(...asked.choices.map((text, index) => {
      const label = document.createElement("label");
      const input = document.createElement("input");
      [input.type, input.name, input.value] = [kind, "quiz-choice", String(index)];
      label.append(input, ` ${text}`);
      return label;
    }));
  }

  /** Choices to put in order, each moved by two buttons. @param {import("./core.js").Asked} asked */
  #list(asked) {
    const list = document.createElement("ol");
    list.className = "order";
    list.append(...this.order.map((choice, place) => {
      const item = document.createElement("li");
      const text = document.createElement("span");
      text.textContent = asked.choices[choice];
      const move = (/** @type {number} */ by, /** @type {string} */ sign, /** @type {string} */ name) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = sign;
        button.setAttribute("aria-label", `${name}: ${asked.choices[choice]}`);
        button.disabled = place + by < 0 || place + by >= this.order.length;
        button.addEventListener("click", () => {
          [this.order[place], this.order[place + by]] = [this.order[place + by], this.order[place]];
          this.#choices();
          // The hand stays on the choice that it moves.
          const buttons = this.#find("#quiz-choices").querySelectorAll("li")[place + by].querySelectorAll("button");
          const same = buttons[by < 0 ? 0 : 1];
          (same.disabled ? buttons[by < 0 ? 1 : 0] : same).focus();
        });
        return button;
      };
      item.append(text, move(-1, "↑", this.page.said.earlier), move(1, "↓", this.page.said.later));
      return item;
    }));
    return list;
  }

  async #answer() {
    const asked = this.all[this.at];
    if (!asked) return;
    const ticked = /** @type {NodeListOf<HTMLInputElement>} */ (this.#find("#quiz-choices").querySelectorAll("input:checked"));
    const answer = asked.kind === "order" ? this.order : [...ticked].map((input) => Number(input.value));
    try {
      const told = await this.core.check(this.page.variant(), this.at, answer);
      this.#find("#quiz-said").textContent = `${told.right ? this.page.said.right : this.page.said.wrong} ${told.why}`;
    } catch (error) {
      this.page.failed(error);
    }
  }
}
