// @ts-check
/** What was tried: kept while the page is open, and longer, in this browser alone, if somebody asks for it. */

/** @typedef {{when: string, test: string, level: number, seed: number, met: number, of: number, points: number, max_points: number, code?: string}} Try */

const KEY = "incisura-practice";
/** Most tries that are kept. */
const KEPT = 500;

export class Progress {
  /**
   * @param {{place: HTMLElement, said: Record<string, string>, name: string,
   *   fill: (key: string, ...parts: (string | number)[]) => string}} page
   */
  constructor(page) {
    this.page = page;
    const find = (/** @type {string} */ name) => /** @type {HTMLElement} */ (page.place.querySelector(name));
    this.list = find("#tries");
    this.told = find("#progress-said");
    const keep = /** @type {HTMLInputElement} */ (find("#keep"));
    const kept = this.#read();
    keep.checked = kept !== null;
    /** @type {Try[]} */
    this.tries = kept ?? [];
    this.keeps = () => keep.checked;
    keep.addEventListener("change", () => (keep.checked ? this.#write() : this.#remove()));
    find("#export").addEventListener("click", () => this.#export());
    find("#forget").addEventListener("click", () => {
      this.tries = [];
      keep.checked = false;
      this.#remove();
      this.show();
      this.told.textContent = page.said.forgotten;
    });
    this.show();
  }

  /** @returns {Try[] | null} what was kept, if it was asked for */
  #read() {
    try {
      const text = localStorage.getItem(KEY);
      const all = text === null ? null : JSON.parse(text);
      return Array.isArray(all) ? all : null;
    } catch {
      return null;
    }
  }

  #write() {
    try {
      localStorage.setItem(KEY, JSON.stringify(this.tries));
    } catch {
      // A browser that keeps nothing, such as in a private window: the page works all the same.
    }
  }

  #remove() {
    try {
      localStorage.removeItem(KEY);
    } catch {
      // Nothing could be kept, so nothing is to be removed.
    }
  }

  /** @param {import("./core.js").Verdict} verdict @param {import("./core.js").Variant} variant @param {string} code empty where none is made */
  add(verdict, { level, seed }, code) {
    const met = verdict.rules.filter((rule) => rule.outcome === "met").length;
    const { points, max_points } = verdict;
    this.tries.push({ when: new Date().toISOString(), test: this.page.name, level, seed, met, of: verdict.rules.length, points, max_points, ...(code && { code }) });
    this.tries = this.tries.slice(-KEPT);
    if (this.keeps()) this.#write();
    this.show();
  }

  show() {
    const { said, fill } = this.page;
    const own = this.tries.filter((one) => one.test === this.page.name);
    const best = Math.max(0, ...own.map((one) => (one.of ? one.met / one.of : 0)));
    this.told.textContent = own.length ? fill("tries", own.length, `${Math.round(best * 100)} %`) : said.no_tries;
    const last = own.slice(-8).reverse();
    this.list.replaceChildren(...last.map((one) => {
      const item = document.createElement("li");
      item.textContent = fill("try", new Date(one.when).toLocaleString(), one.met, one.of, one.level);
      if (one.code) {
        const code = document.createElement("code");
        code.textContent = one.code;
        item.append(document.createElement("br"), code);
      }
      return item;
    }));
  }

  #export() {
    const text = JSON.stringify({ kind: "incisura practice", tries: this.tries }, null, 2);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "practice.json";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }
}
