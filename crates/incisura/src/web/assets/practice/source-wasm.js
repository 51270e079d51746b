// @ts-check
/** The core inside the page, compiled to WebAssembly: it answers the same questions with the same texts. */

/** What the core refused, in its words. */
export class Unanswered extends Error {}

/**
 * @typedef {{memory: WebAssembly.Memory, question: (bytes: number) => number, answer: (what: number) => number,
 *   answered: () => number}} Exports
 */

/** The bytes that stand in the page, packed and written as letters. @param {string} place */
async function unpacked(place) {
  const letters = atob(document.querySelector(place)?.textContent?.trim() ?? "");
  const packed = new Uint8Array(letters.length);
  // A million letters: a call for each would take ten times as long.
  for (let at = 0; at < letters.length; at += 1) packed[at] = letters.charCodeAt(at);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

export class Source {
  /**
   * @param {string} place where in the page the core stands
   * @param {unknown} definition the texts of the test
   * @param {string} silent what to say where there is no answer
   */
  constructor(place, definition, silent) {
    this.definition = definition;
    this.silent = silent;
    this.module = unpacked(place).then((bytes) => WebAssembly.compile(bytes));
    // Told when the first question is asked.
    this.module.catch(() => {});
    /** @type {Promise<Exports> | null} */
    this.started = null;
  }

  /** @returns {Promise<Exports>} */
  async #start() {
    const instance = await WebAssembly.instantiate(await this.module, {});
    return /** @type {Exports} */ (/** @type {unknown} */ (instance.exports));
  }

  /**
   * @template T
   * @param {string} what
   * @param {object} request
   * @returns {Promise<T>}
   */
  async json(what, request) {
    let length, text;
    try {
      this.started ??= this.#start();
      const core = await this.started;
      const [name, rest] = [what, JSON.stringify({ definition: this.definition, ...request })].map((part) => new TextEncoder().encode(part));
      const place = core.question(name.length + rest.length);
      const room = new Uint8Array(core.memory.buffer, place, name.length + rest.length);
      room.set(name);
      room.set(rest, name.length);
      length = core.answer(name.length);
      text = new TextDecoder().decode(new Uint8Array(core.memory.buffer, core.answered(), Math.abs(length)));
    } catch {
      // A core that has stopped answers nothing more; the next question gets a new one.
      this.started = null;
      throw new Unanswered(this.silent);
    }
    if (length < 0) throw new Unanswered(text);
    return JSON.parse(text);
  }

  /** A WAV file. @param {object} request */
  async sound(request) {
    return new Uint8Array(/** @type {number[]} */ (await this.json("sound", request))).buffer;
  }
}
