// @ts-check
/** The heart heard, and with it a trace as a tone; a line goes along with what is heard. */

export class Sound {
  /**
   * @param {import("./core.js").Core} core
   * @param {import("./stage.js").Stage} stage
   * @param {{button: HTMLButtonElement, trace: HTMLSelectElement, slowly: HTMLInputElement,
   *   said: Record<string, string>, fill: (key: string, ...parts: (string | number)[]) => string,
   *   variant: () => import("./core.js").Variant, drawing: () => import("./core.js").Strokes, failed: (error: unknown) => void}} page
   */
  constructor(core, stage, page) {
    this.core = core;
    this.stage = stage;
    this.page = page;
    /** @type {AudioContext | null} */
    this.audio = null;
    this.usual = page.button.textContent ?? "";
    for (const choice of [page.trace, page.slowly]) choice.addEventListener("change", () => this.stop());
  }

  /** What can be heard of a task. @param {import("./core.js").Task} task */
  begin(task) {
    const { trace, fill } = this.page;
    const chosen = trace.value;
    const tones = task.panels.filter((panel) => !panel.bursts).map((panel) => new Option(fill("as_tone", panel.title), panel.channel));
    trace.replaceChildren(trace.options[0], ...tones);
    if (tones.some((option) => option.value === chosen)) trace.value = chosen;
  }

  stop() {
    void this.audio?.close();
    this.audio = null;
    this.page.button.textContent = this.usual;
    this.stage.sweep(null);
  }

  /** Begins, or ends what is heard. */
  async turn() {
    if (this.audio) return this.stop();
    const { said, trace, slowly, variant, drawing, failed } = this.page;
    const context = new AudioContext();
    this.audio = context;
    this.page.button.textContent = said.stop;
    const hear = { trace: trace.value, slowly: slowly.checked };
    const { strokes, bars } = drawing();
    try {
      const buffer = await context.decodeAudioData(await this.core.sound(variant(), hear, { strokes, bars }));
      if (this.audio !== context) return;
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(context.destination);
      source.addEventListener("ended", () => this.audio === context && this.stop());
      source.start();
      const panel = this.stage.task.panels.find((one) => one.channel === hear.trace);
      if (panel && !matchMedia("(prefers-reduced-motion: reduce)").matches) this.#sweep(context, panel, hear.slowly);
    } catch (error) {
      // What was stopped meanwhile is nobody's fault any more.
      if (this.audio !== context) return;
      this.stop();
      failed(error);
    }
  }

  /** Goes along. @param {AudioContext} context @param {import("./core.js").Panel} panel @param {boolean} slowly */
  #sweep(context, panel, slowly) {
    const { slower, pause_s } = this.stage.task.hearing;
    const begun = context.currentTime;
    const lasts = (panel.time_s[1] - panel.time_s[0]) * (slowly ? slower : 1);
    const next = () => {
      if (this.audio !== context) return;
      const share = ((context.currentTime - begun) % (lasts + pause_s)) / lasts;
      this.stage.sweep(share > 1 ? null : panel.x_mm + share * panel.width_mm);
      requestAnimationFrame(next);
    };
    next();
  }
}
