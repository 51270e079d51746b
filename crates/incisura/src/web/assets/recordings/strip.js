// @ts-check
/**
 * The strip of a recording: scrolled, zoomed, and its landmarks put right, by pointer and by keys.
 *
 * The server draws; one request is under way at a time, and when it is answered the newest view is
 * asked for.
 */

import { Refused, ask, fill, post, say, the, whenCalm } from "/common.js";

/** Shortest strip, in seconds; how much closer or farther a step is; a pointer moved so little has not moved. */
const SHORTEST_S = 0.25;
const STEP = 1.6;
const STILL_PX = 3;

/**
 * @typedef {object} Wanted
 * @property {() => URLSearchParams} query the choices, without the view
 * @property {() => void} moved the view is another
 * @property {() => Promise<void>} corrected the beats are other ones
 * @property {(text: string) => void} complain
 */

/** @param {Wanted} wanted */
export function openStrip(wanted) {
  const strip = the("#strip", HTMLElement);
  const overview = the("#overview", HTMLElement);
  const scroll = the("#scroll", HTMLInputElement);
  const closer = the("#closer", HTMLElement);
  const lasts = Number(strip.dataset.lasts);
  const drawing = () => the("#strip-drawing", SVGSVGElement);
  const view = { at: Number(drawing().dataset.at), span: Number(drawing().dataset.span) };
  /** Where the pointer was put down last, in seconds. @type {number | null} */
  let cursor = null;
  /** The landmark chosen. @type {{channel: string, landmark: string, time: number} | null} */
  let chosen = null;

  const width = () => {
    const style = getComputedStyle(strip);
    return Math.max(300, Math.round(strip.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight)));
  };

  function state() {
    const query = wanted.query();
    query.set("at", view.at.toFixed(3));
    query.set("span", view.span.toFixed(3));
    return query;
  }

  let shown = "";
  let asking = false;
  /**
   * @param {boolean} [whole] whether the bar of the whole recording is drawn, too
   */
  async function draw(whole = false) {
    place();
    wanted.moved();
    if (asking) return;
    asking = true;
    try {
      for (;;) {
        const query = state();
        query.set("width", String(width()));
        if (whole) query.set("overview", "on");
        if (query.toString() === shown) break;
        shown = query.toString();
        const text = await (await ask(`/recordings/strip?${query}`)).text();
        show(text);
        whole = false;
      }
    } catch (error) {
      wanted.complain(error instanceof Refused ? error.message : String(error));
    }
    asking = false;
    document.documentElement.dataset.drawn = shown;
  }

  /** @param {string} text */
  function show(text) {
    const focused = document.activeElement?.closest(".mark") !== null && strip.contains(document.activeElement);
    fill(text);
    wanted.complain("");
    const mark = keep();
    if (focused && mark) mark.focus({ preventScroll: true });
    else if (focused) strip.focus({ preventScroll: true });
    drawCursor();
    frame();
  }

  /** What is beside the drawing follows the view. */
  function place() {
    view.span = Math.min(Math.max(view.span, SHORTEST_S), Math.max(lasts, SHORTEST_S));
    view.at = Math.max(0, Math.min(view.at, lasts - view.span));
    scroll.max = String(Math.max(0, lasts - view.span));
    scroll.value = String(view.at);
    scroll.setAttribute("aria-valuetext", `${view.at.toFixed(1)} – ${(view.at + view.span).toFixed(1)} s`);
    closer.hidden = view.span <= Number(strip.dataset.marks);
    frame();
  }

  /** The part looked at, on the bar of the whole. */
  function frame() {
    const bar = overview.querySelector("svg");
    const box = bar?.querySelector("#window");
    if (!bar || !box) return;
    const [left, right] = [Number(bar.dataset.left), Number(bar.dataset.right)];
    const x = (/** @type {number} */ time) => left + (time / lasts) * (right - left);
    box.setAttribute("x", x(view.at).toFixed(2));
    box.setAttribute("width", Math.max(3, x(view.at + view.span) - x(view.at)).toFixed(2));
  }

  /**
   * @param {number} at
   * @param {number} [span]
   */
  function go(at, span = view.span) {
    [view.at, view.span] = [at, span];
    void draw();
  }

  /**
   * @param {number} factor
   * @param {number} [about] in seconds
   */
  function zoom(factor, about = view.at + view.span / 2) {
    const span = Math.min(Math.max(view.span * factor, SHORTEST_S), lasts);
    go(about - ((about - view.at) / view.span) * span, span);
  }

  /** @type {Record<string, () => void>} */
  const acts = {
    earlier: () => go(view.at - view.span / 4),
    later: () => go(view.at + view.span / 4),
    closer: () => zoom(1 / STEP),
    farther: () => zoom(STEP),
    whole: () => go(0, lasts),
  };
  for (const button of document.querySelectorAll("button[data-act]")) {
    if (button instanceof HTMLButtonElement) button.addEventListener("click", () => acts[button.dataset.act ?? ""]?.());
  }

  /**
   * The time at a place on screen, in seconds.
   * @param {number} clientX
   */
  function timeAt(clientX) {
    const svg = drawing();
    const area = svg.getBoundingClientRect();
    const unit = area.width / svg.viewBox.baseVal.width;
    const [left, right] = [Number(svg.dataset.left), Number(svg.dataset.right)];
    const share = ((clientX - area.left) / unit - left) / (right - left);
    return view.at + share * view.span;
  }

  /** Pixels on screen for a second. */
  function perSecond() {
    const svg = drawing();
    const unit = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    return (unit * (Number(svg.dataset.right) - Number(svg.dataset.left))) / view.span;
  }

  function drawCursor() {
    const svg = drawing();
    svg.querySelector("#cursor")?.remove();
    if (cursor === null || cursor < view.at || cursor > view.at + view.span) return;
    const [left, right] = [Number(svg.dataset.left), Number(svg.dataset.right)];
    const x = String(left + ((cursor - view.at) / view.span) * (right - left));
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.id = "cursor";
    for (const [name, value] of [["x1", x], ["x2", x], ["y1", "14"], ["y2", String(svg.viewBox.baseVal.height - 24)]]) line.setAttribute(name, value);
    svg.append(line);
  }

  // Landmarks

  const marks = () => /** @type {SVGGElement[]} */ ([...strip.querySelectorAll(".mark")]);
  const chosenWords = document.querySelector("#chosen");
  const removeButton = document.querySelector("#remove");

  /** @param {SVGGElement} mark */
  const of = (mark) => ({
    channel: mark.dataset.channel ?? "",
    landmark: mark.dataset.landmark ?? "",
    time: Number(mark.dataset.time),
  });

  /**
   * @param {string} text
   * @param {number} time
   */
  function tell(text, time) {
    if (chosenWords) chosenWords.textContent = `${text}: ${time.toFixed(4)} s`;
  }

  /** Finds the chosen landmark on the new drawing, and lets the first be reached by Tab where there is none. */
  function keep() {
    const all = marks();
    const off = (/** @type {SVGGElement} */ mark) => Math.abs(of(mark).time - (chosen?.time ?? 0));
    const same = all.filter((mark) => mark.dataset.channel === chosen?.channel && mark.dataset.landmark === chosen?.landmark && off(mark) < 0.05);
    same.sort((a, b) => off(a) - off(b));
    const mark = same[0];
    for (const one of all) {
      one.setAttribute("tabindex", one === (mark ?? all[0]) ? "0" : "-1");
      one.classList.toggle("chosen", one === mark);
    }
    if (mark) tell(mark.dataset.says ?? "", of(mark).time);
    if (removeButton instanceof HTMLButtonElement) removeButton.disabled = !mark;
    return mark;
  }

  /** @param {SVGGElement | undefined} mark */
  function choose(mark) {
    if (!mark) return;
    flush();
    chosen = of(mark);
    keep();
    mark.focus({ preventScroll: true });
  }

  function leave() {
    flush();
    chosen = null;
    if (chosenWords instanceof HTMLElement) chosenWords.textContent = chosenWords.dataset.none ?? "";
    keep();
    strip.focus({ preventScroll: true });
  }

  /** @param {number} by how many landmarks further */
  async function next(by) {
    const at = marks().findIndex((mark) => mark.classList.contains("chosen"));
    const mark = marks()[at + by];
    if (at >= 0 && mark) return choose(mark);
    if (at < 0) return choose(marks()[0]);
    // The next one lies on the strip before or after.
    flush();
    view.at += (by * view.span) / 2;
    const time = chosen?.time ?? 0;
    await draw();
    const all = marks();
    const beyond = by > 0 ? all.find((mark) => of(mark).time > time) : all.findLast((mark) => of(mark).time < time);
    choose(beyond);
  }

  const fault = document.querySelector("#correct-fault");
  const kept = document.querySelector("#kept");
  const form = document.querySelector("#correct");

  /** @param {string} text */
  function refuse(text) {
    if (fault) fault.textContent = text;
  }

  /** Corrections are made one after another. @type {Promise<void>} */
  let queue = Promise.resolve();

  /**
   * @param {string} url
   * @param {() => Record<string, string>} fields asked for when those before are made
   * @param {string} words
   */
  function change(url, fields, words) {
    queue = queue.then(async () => {
      const query = state();
      query.set("width", String(width()));
      try {
        const text = await (await post(`${url}?${query}`, fields())).text();
        refuse("");
        if (kept) kept.textContent = words;
        shown = query.toString();
        show(text);
        await wanted.corrected();
      } catch (error) {
        if (kept) kept.textContent = "";
        refuse(error instanceof Refused ? error.message : String(error));
        const control = error instanceof Refused && error.control ? document.getElementById(error.control) : null;
        control?.setAttribute("aria-invalid", "true");
        // What was moved on the drawing only goes back.
        shown = "";
        await draw();
        control?.focus();
      }
      document.documentElement.dataset.kept = String(Number(document.documentElement.dataset.kept ?? 0) + 1);
    });
    return queue;
  }

  /**
   * @param {"move" | "remove" | "add"} what
   * @param {{channel: string, landmark: string, time: number}} mark
   * @param {number} [to]
   */
  function correct(what, mark, to) {
    if (!(form instanceof HTMLFormElement)) return;
    const value = (/** @type {string} */ name) => the(`#${name}`, HTMLInputElement, form).value;
    for (const control of form.querySelectorAll("[aria-invalid]")) control.removeAttribute("aria-invalid");
    const fields = { what, channel: mark.channel, landmark: mark.landmark, at: String(mark.time), to: to === undefined ? "" : String(to), who: value("who"), why: value("why") };
    if (what !== "remove") chosen = { ...mark, time: to ?? mark.time };
    return change("/recordings/correct", () => fields, form.dataset.kept ?? "");
  }

  /** A landmark moved by keys, and not kept yet. @type {{mark: SVGGElement, from: ReturnType<typeof of>, to: number} | null} */
  let pending = null;

  function flush() {
    if (!pending) return;
    const { from, to } = pending;
    pending = null;
    if (Math.abs(to - from.time) > 1e-5) void correct("move", from, to);
  }
  const flushWhenCalm = whenCalm(flush, 600);

  /**
   * @param {SVGGElement} mark
   * @param {number} to
   */
  function shift(mark, to) {
    const unit = perSecond() / (drawing().getBoundingClientRect().width / drawing().viewBox.baseVal.width);
    mark.setAttribute("transform", `translate(${((to - of(mark).time) * unit).toFixed(2)} 0)`);
    mark.setAttribute("aria-valuenow", to.toFixed(4));
    mark.setAttribute("aria-valuetext", `${to.toFixed(4)} s`);
    tell(mark.dataset.says ?? "", to);
  }

  /**
   * @param {SVGGElement} mark
   * @param {number} samples
   */
  function nudge(mark, samples) {
    if (pending?.mark !== mark) {
      flush();
      pending = { mark, from: of(mark), to: of(mark).time };
    }
    pending.to = Math.max(0, pending.to + samples * Number(mark.dataset.step));
    shift(mark, pending.to);
    flushWhenCalm();
  }

  function remove() {
    if (!chosen) return;
    pending = null;
    const gone = chosen;
    chosen = null;
    if (chosenWords instanceof HTMLElement) chosenWords.textContent = chosenWords.dataset.none ?? "";
    void correct("remove", gone);
  }

  async function undo() {
    flush();
    await queue;
    if (!(form instanceof HTMLFormElement)) return;
    const seen = () => ({ seen: the("#seen", HTMLInputElement).value });
    void change("/recordings/undo", seen, form.dataset.undone ?? "");
  }

  removeButton?.addEventListener("click", remove);
  document.querySelector("#undo")?.addEventListener("click", undo);
  form?.addEventListener("submit", (event) => event.preventDefault());
  document.querySelector("#add")?.addEventListener("submit", async (event) => {
    event.preventDefault();
    flush();
    const [channel, landmark] = the("#what", HTMLSelectElement).value.split(":");
    const inside = cursor !== null && cursor >= view.at && cursor <= view.at + view.span;
    const time = inside ? /** @type {number} */ (cursor) : view.at + view.span / 2;
    await correct("add", { channel, landmark, time: Number(time.toFixed(4)) });
    marks().find((mark) => mark.classList.contains("chosen"))?.focus({ preventScroll: true });
  });

  // The pointer

  strip.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || !(event.target instanceof Element)) return;
    const mark = event.target.closest(".mark");
    const from = event.clientX;
    const at = view.at;
    let dragged = false;
    strip.setPointerCapture(event.pointerId);
    if (mark instanceof SVGGElement) choose(mark);
    const began = mark instanceof SVGGElement ? of(mark) : null;

    /** @param {PointerEvent} moved */
    const move = (moved) => {
      const far = moved.clientX - from;
      dragged ||= Math.abs(far) > STILL_PX;
      if (!dragged) return;
      if (mark instanceof SVGGElement && began) shift(mark, began.time + far / perSecond());
      else go(at - far / perSecond());
    };
    /** @param {PointerEvent} ended */
    const end = (ended) => {
      strip.removeEventListener("pointermove", move);
      strip.removeEventListener("pointerup", end);
      strip.removeEventListener("pointercancel", end);
      if (began && dragged) void correct("move", began, Math.max(0, began.time + (ended.clientX - from) / perSecond()));
      if (!began && !dragged && ended.type === "pointerup") {
        cursor = Math.max(0, timeAt(ended.clientX));
        drawCursor();
        strip.focus({ preventScroll: true });
      }
    };
    strip.addEventListener("pointermove", move);
    strip.addEventListener("pointerup", end);
    strip.addEventListener("pointercancel", end);
    event.preventDefault();
  });

  strip.addEventListener(
    "wheel",
    (event) => {
      const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (event.ctrlKey || event.metaKey) zoom(event.deltaY > 0 ? STEP : 1 / STEP, timeAt(event.clientX));
      else if (sideways || event.shiftKey) go(view.at + ((sideways ? event.deltaX : event.deltaY) / 100) * (view.span / 8));
      else return;
      event.preventDefault();
    },
    { passive: false },
  );

  overview.addEventListener("pointerdown", (event) => {
    const bar = overview.querySelector("svg");
    if (!bar || event.button !== 0) return;
    overview.setPointerCapture(event.pointerId);
    /** @param {PointerEvent} moved */
    const move = (moved) => {
      const area = bar.getBoundingClientRect();
      const x = ((moved.clientX - area.left) / area.width) * bar.viewBox.baseVal.width;
      const [left, right] = [Number(bar.dataset.left), Number(bar.dataset.right)];
      go(((x - left) / (right - left)) * lasts - view.span / 2);
    };
    move(event);
    overview.addEventListener("pointermove", move);
    const end = () => {
      overview.removeEventListener("pointermove", move);
      overview.removeEventListener("pointerup", end);
      overview.removeEventListener("pointercancel", end);
    };
    overview.addEventListener("pointerup", end);
    overview.addEventListener("pointercancel", end);
    event.preventDefault();
  });

  scroll.addEventListener("input", () => go(Number(scroll.value)));

  // The keys

  /** @type {Record<string, (shift: boolean) => void>} */
  const onStrip = {
    ArrowLeft: (shift) => go(view.at - view.span * (shift ? 1 : 0.25)),
    ArrowRight: (shift) => go(view.at + view.span * (shift ? 1 : 0.25)),
    "+": acts.closer,
    "=": acts.closer,
    "-": acts.farther,
    "−": acts.farther,
    Home: () => go(0),
    End: () => go(lasts),
    Enter: () => choose(marks()[0]),
  };

  strip.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const mark = event.target instanceof Element ? event.target.closest(".mark") : null;
    if (!(mark instanceof SVGGElement)) {
      const act = event.target === strip ? onStrip[event.key] : undefined;
      if (!act) return;
      act(event.shiftKey);
      event.preventDefault();
      return;
    }
    const samples = event.shiftKey ? 10 : 1;
    /** @type {Record<string, () => void>} */
    const onMark = {
      ArrowLeft: () => nudge(mark, -samples),
      ArrowRight: () => nudge(mark, samples),
      ArrowUp: () => void next(-1),
      ArrowDown: () => void next(1),
      Delete: remove,
      Backspace: remove,
      Escape: leave,
    };
    const act = onMark[event.key];
    if (!act) return;
    act();
    event.preventDefault();
  });

  strip.addEventListener("focusin", (event) => {
    const mark = event.target instanceof Element ? event.target.closest(".mark") : null;
    if (!(mark instanceof SVGGElement) || mark.classList.contains("chosen")) return;
    chosen = of(mark);
    keep();
  });
  strip.addEventListener("focusout", (event) => {
    if (!(event.relatedTarget instanceof Element) || !strip.contains(event.relatedTarget)) flush();
  });

  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof Element && event.target.matches("input:not([type=checkbox], [type=range]), textarea");
    if ((event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z" && !typing && form) {
      event.preventDefault();
      void undo();
    }
  });

  // It is called at once, too: only then is it known whether what came with the page fits.
  new ResizeObserver(() => {
    if (drawing().viewBox.baseVal.width !== width()) void draw(true);
    else if (!asking) document.documentElement.dataset.drawn = shown;
  }).observe(strip);

  keep();
  say("");
  return { state };
}
