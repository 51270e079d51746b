// @ts-check
/** The core at an address: the program answers. A page by itself has `source-wasm.js` in this place. */

/** What the core refused, in its words. */
export class Unanswered extends Error {}

export class Source {
  /**
   * @param {string} address
   * @param {unknown} definition which test it is about
   * @param {string} silent what to say where there is no answer
   */
  constructor(address, definition, silent) {
    this.address = address;
    this.definition = definition;
    this.silent = silent;
  }

  /**
   * @param {string} what
   * @param {object} request
   */
  async #ask(what, request) {
    let response;
    try {
      response = await fetch(this.address + what, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify({ definition: this.definition, ...request }),
      });
    } catch {
      throw new Unanswered(this.silent);
    }
    if (!response.ok) throw new Unanswered(await response.text());
    return response;
  }

  /**
   * @template T
   * @param {string} what
   * @param {object} request
   * @returns {Promise<T>}
   */
  async json(what, request) {
    return (await this.#ask(what, request)).json();
  }

  /** A WAV file. @param {object} request */
  async sound(request) {
    return (await this.#ask("sound", request)).arrayBuffer();
  }
}
