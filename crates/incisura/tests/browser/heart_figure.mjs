// @ts-check
/** The heart's figure: sliders, conditions, panels, sound, files, print. */
import assert from "node:assert/strict";

const TABLE = { width: 1280, height: 720 };
const TABLET = { width: 820, height: 1180 };
const MOVES = 40;

export const room = "/heart";

export const addresses = [
  "/heart",
  "/heart?scale=projector&rate_bpm=900",
  "/heart?scale=projector&show=&show=loop&show=labels&show=lines",
];

/** @type {import("./run.mjs").Module["cases"]} */
export const cases = [
  ["a slider moved by keyboard redraws the figure", async (page) => {
    const before = await drawing(page);
    await page.locator('input[type=range][data-for="rate_bpm"]').focus();
    await page.keyboard.press("ArrowRight");
    await page.waitForFunction((old) => document.querySelector(".sheet svg")?.outerHTML !== old, before);
    assert.equal(await page.locator("#rate_bpm").inputValue(), "76");
  }],
  ["the address keeps the state over a reload", async (page) => {
    await page.locator("#rate_bpm").fill("100");
    await page.waitForURL(/rate_bpm=100/);
    const before = await drawing(page);
    await page.reload();
    assert.equal(await page.locator("#rate_bpm").inputValue(), "100");
    assert.equal(await drawing(page), before);
  }],
  ["a condition brings its numbers and its words", async (page, help) => {
    for (const condition of await page.locator("#condition option").evaluateAll((all) => all.map((one) => /** @type {HTMLOptionElement} */ (one).value))) {
      await page.locator("#condition").selectOption(condition);
      await drawn(page, condition);
      assert.equal(await page.locator("#problem").textContent(), "", condition);
      await help.shoot(page, `condition-${condition}`);
    }
    assert.match(page.url(), /condition=/);
  }],
  ["a value out of range is told beside its control, and mended", async (page) => {
    await page.locator("#rate_bpm").fill("900");
    await page.locator("#rate_bpm-fault:not(:empty)").waitFor();
    assert.match((await page.locator("#rate_bpm-fault").textContent()) ?? "", /to 200/);
    await page.locator("#rate_bpm").fill("80");
    await page.locator("#rate_bpm-fault:empty").waitFor({ state: "attached" });
  }],
  ["panels are switched on and off", async (page) => {
    await page.getByLabel("Radial artery").check();
    await drawn(page, "panel=wrist");
    for (const name of await page.locator("input[name=panel][type=checkbox]").all()) await name.uncheck();
    await page.locator("#panel-fault:not(:empty)").waitFor();
    await page.getByLabel("ECG").check();
    await page.locator("#panel-fault:empty").waitFor({ state: "attached" });
  }],
  ["the figure has its words", async (page) => {
    assert.ok(((await page.locator(".sheet svg desc").textContent()) ?? "").length > 100);
    await page.getByText("The figure in words").click();
    assert.ok(await page.locator('[data-slot="words"] p').first().isVisible());
  }],
  ["sound plays, a line follows it, and it stops", async (page, help) => {
    await page.getByRole("button", { name: "Play heart sounds" }).click();
    await page.locator("#cursor").waitFor({ state: "visible" });
    const left = () => page.locator("#cursor").evaluate((cursor) => cursor.style.left);
    const before = await left();
    await page.waitForFunction((old) => document.getElementById("cursor")?.style.left !== old, before);
    await help.shoot(page, "sound");
    await page.getByRole("button", { name: "Stop heart sounds" }).click();
    await page.locator("#cursor").waitFor({ state: "hidden" });
  }],
  ["every file that is offered can be fetched", async (page, help) => {
    for (const link of await page.locator(".files a").all()) {
      const answer = await page.request.get(new URL((await link.getAttribute("href")) ?? "", help.address).href);
      assert.equal(answer.status(), 200, answer.url());
    }
  }],
  ["print shows the figure alone", async (page) => {
    await page.emulateMedia({ media: "print" });
    assert.ok(await page.locator(".sheet svg").isVisible());
    for (const other of [".masthead", ".toolbar", ".controls", ".findings"]) {
      assert.ok(await page.locator(other).isHidden(), other);
    }
    await page.emulateMedia({ media: "screen" });
  }],
  ["nothing lies beyond the side of the window", async (page) => {
    for (const size of [TABLE, TABLET, { width: 400, height: 800 }]) {
      await page.setViewportSize(size);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= size.width, `${wide} of ${size.width} px`);
    }
    await page.setViewportSize(TABLE);
  }],
];

/** @param {import("playwright-core").Page} page */
const drawing = (page) => page.evaluate(() => document.querySelector(".sheet svg")?.outerHTML ?? "");

/**
 * Waits until a state whose address has `part` is shown and no newer one is on its way.
 * @param {import("playwright-core").Page} page
 * @param {string} part
 */
const drawn = (page, part) =>
  page.waitForFunction((text) => document.documentElement.dataset.drawn?.includes(text) && location.search.includes(text), part);

/**
 * Milliseconds from a slider's move to the frame that shows the new figure.
 * @param {import("playwright-core").Page} page
 * @param {string} address
 */
async function timeMoves(page, address) {
  await page.goto(address);
  return page.evaluate(async (moves) => {
    const slider = /** @type {HTMLInputElement} */ (document.querySelector('input[data-for="rate_bpm"]'));
    const times = [];
    for (let move = 0; move < moves; move++) {
      const start = performance.now();
      delete document.documentElement.dataset.drawn;
      slider.value = String(60 + move);
      slider.dispatchEvent(new Event("input", { bubbles: true }));
      do await new Promise(requestAnimationFrame);
      while (document.documentElement.dataset.drawn === undefined && performance.now() - start < 5000);
      const problem = document.getElementById("problem")?.textContent;
      if (problem) throw new Error(`${slider.value} /min: ${problem}`);
      times.push(performance.now() - start);
    }
    times.sort((a, b) => a - b);
    return { median: times[moves >> 1], late: times[Math.ceil(moves * 0.95) - 1], most: times[moves - 1] };
  }, MOVES);
}

/**
 * @param {import("playwright-core").Page} page
 * @param {import("./run.mjs").Help} help
 */
export async function times(page, help) {
  for (const [name, query] of [["one beat", ""], ["four beats", "?beats=4"], ["irregular", "?condition=atrial_fibrillation"]]) {
    const { median, late, most } = await timeMoves(page, `${help.address}/heart${query}`);
    console.log(`slider to figure, ${name}: ${median.toFixed(0)} ms median, ${late.toFixed(0)} ms at the 95th percentile, ${most.toFixed(0)} ms at most (${MOVES} moves)`);
  }
}
