// @ts-check
/**
 * The page used as a person uses it: `node page.mjs ADDRESS BROWSER [SCREENSHOTS]`.
 *
 * Ends with an error at the first thing that is not as it should be; times are reported,
 * not judged, since they depend on the machine.
 */
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

const [address, executablePath, screenshots] = process.argv.slice(2);
const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
const ARGUMENTS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
];
const TABLE = { width: 1280, height: 720 };
const TABLET = { width: 820, height: 1180 };
const MOVES = 40;

/** @type {[string, (page: import("playwright-core").Page) => Promise<void>][]} */
const cases = [
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
  ["a condition brings its numbers and its words", async (page) => {
    for (const condition of await page.locator("#condition option").evaluateAll((all) => all.map((one) => /** @type {HTMLOptionElement} */ (one).value))) {
      await page.locator("#condition").selectOption(condition);
      await drawn(page, condition);
      assert.equal(await page.locator("#problem").textContent(), "", condition);
      await shoot(page, `condition-${condition}`);
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
  ["sound plays, a line follows it, and it stops", async (page) => {
    await page.getByRole("button", { name: "Play heart sounds" }).click();
    await page.locator("#cursor").waitFor({ state: "visible" });
    const left = () => page.locator("#cursor").evaluate((cursor) => cursor.style.left);
    const before = await left();
    await page.waitForFunction((old) => document.getElementById("cursor")?.style.left !== old, before);
    await shoot(page, "sound");
    await page.getByRole("button", { name: "Stop heart sounds" }).click();
    await page.locator("#cursor").waitFor({ state: "hidden" });
  }],
  ["every file that is offered can be fetched", async (page) => {
    for (const link of await page.locator(".files a").all()) {
      const answer = await page.request.get(new URL((await link.getAttribute("href")) ?? "", address).href);
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
 * @param {import("playwright-core").Page} page
 * @param {string} name
 */
async function shoot(page, name) {
  if (screenshots) await page.screenshot({ path: `${screenshots}/${name}.png` });
}

/**
 * Milliseconds from a slider's move to the frame that shows the new figure.
 * @param {import("playwright-core").Page} page
 * @param {string} query
 */
async function timeMoves(page, query) {
  await page.goto(address + query);
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
    return { median: times[moves >> 1], most: times[moves - 1] };
  }, MOVES);
}

/**
 * Faults that the accessibility checker finds in a page.
 * @param {import("playwright-core").Page} page
 */
async function faults(page) {
  await page.addScriptTag({ path: axe });
  const result = await page.evaluate(() => /** @type {any} */ (globalThis).axe.run());
  return result.violations.map((/** @type {any} */ one) =>
    `${one.id}: ${one.nodes.map((/** @type {any} */ node) => node.target).join(", ")}`);
}

/** The same page in light and dark, on a table and a tablet, for print and projector. */
async function looks(/** @type {import("playwright-core").Browser} */ browser) {
  for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
    for (const [name, viewport] of /** @type {const} */ ([["table", TABLE], ["tablet", TABLET]])) {
      // The checker is put into the page from outside, which the page itself forbids.
      const page = await browser.newPage({ colorScheme, viewport, bypassCSP: true });
      await page.goto(address);
      await shoot(page, `${name}-${colorScheme}`);
      assert.deepEqual(await faults(page), [], `${name}, ${colorScheme}`);
      await page.goto(`${address}?scale=projector&rate_bpm=900`);
      assert.deepEqual(await faults(page), [], `${name}, ${colorScheme}, with an error`);
      await page.goto(`${address}?scale=projector&show=&show=loop&show=labels&show=lines`);
      await shoot(page, `${name}-${colorScheme}-projector`);
      await page.close();
    }
  }
  console.log("accessible by axe-core's rules, light and dark, table and tablet");
}

async function main() {
  if (screenshots) mkdirSync(screenshots, { recursive: true });
  const started = performance.now();
  const browser = await chromium.launch({ executablePath, args: ARGUMENTS });
  try {
    for (const [title, check] of cases) {
      const page = await browser.newPage({ viewport: TABLE });
      /** @type {string[]} */
      const complaints = [];
      page.on("pageerror", (error) => complaints.push(error.message));
      page.on("console", (message) => {
        // A refused value is answered with status 400, which the browser notes by itself.
        if (message.type() === "error" && !message.text().includes("400")) complaints.push(message.text());
      });
      page.on("request", (request) => {
        if (!request.url().startsWith(address) && !request.url().startsWith("data:")) complaints.push(`asks ${request.url()}`);
      });
      await page.goto(address);
      try {
        await check(page);
        assert.deepEqual(complaints, []);
      } catch (error) {
        await shoot(page, "failed");
        throw new Error(title, { cause: error });
      }
      await page.close();
      console.log(`ok: ${title}`);
    }
    await looks(browser);
    const page = await browser.newPage({ viewport: TABLE });
    for (const [name, query] of [["one beat", ""], ["four beats", "?beats=4"], ["irregular", "?condition=atrial_fibrillation"]]) {
      const { median, most } = await timeMoves(page, query);
      console.log(`slider to figure, ${name}: ${median.toFixed(0)} ms median, ${most.toFixed(0)} ms at most (${MOVES} moves)`);
    }
    console.log(`${cases.length + 1} browser checks in ${((performance.now() - started) / 1000).toFixed(1)} s`);
  } finally {
    await browser.close();
  }
}

await main();
