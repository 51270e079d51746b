// @ts-check
/**
 * The app used as a person uses it: `node run.mjs ADDRESS BROWSER [SCREENSHOTS] [MODULE…]`.
 *
 * Every room has a module with `room`, its address; `cases`, each of which gets a page of its
 * own; and `addresses`, which the accessibility checker goes through in light and dark. A case that
 * fails is tried once more, and told of if that helped. Ends with an error at the first thing that
 * is not as it should be twice; times are reported, not judged, since they depend on the machine.
 */
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { createRequire } from "node:module";
import { inspect } from "node:util";
import { chromium } from "playwright-core";

/**
 * @typedef {import("playwright-core").Page} Page
 * @typedef {{address: string, shoot: (page: Page, name: string) => Promise<void>}} Help
 * @typedef {{
 *   room: string,
 *   cases: [string, (page: Page, help: Help) => Promise<void>][],
 *   addresses: string[],
 *   times?: (page: Page, help: Help) => Promise<void>,
 * }} Module
 */

const MODULES = ["course", "heart_figure", "heart", "board", "conventions", "sheets", "marking", "class", "recordings", "practice", "practice_page"];
const [given, executablePath, screenshots, ...only] = process.argv.slice(2);
const address = given.replace(/\/$/, "");
const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
const ARGUMENTS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
];
const TABLE = { width: 1280, height: 720 };
const TABLET = { width: 820, height: 1180 };

/** @type {Help} */
const help = {
  address,
  shoot: async (page, name) => {
    if (screenshots) await page.screenshot({ path: `${screenshots}/${name}.png` });
  },
};

/**
 * What a page complains of, or asks of others, while it is open.
 * @param {Page} page
 */
function complaints(page) {
  /** @type {string[]} */
  const heard = [];
  page.on("pageerror", (error) => heard.push(error.message));
  page.on("console", (message) => {
    // A refused value is answered with a status that the browser notes by itself.
    if (message.type() === "error" && !/status of 4(00|04|09|13)/.test(message.text())) heard.push(message.text());
  });
  page.on("request", (request) => {
    const own = [address, "data:", "blob:"].some((start) => request.url().startsWith(start));
    if (!own) heard.push(`asks ${request.url()}`);
  });
  return heard;
}

/**
 * Faults that the accessibility checker finds in a page.
 * @param {Page} page
 */
async function faults(page) {
  await page.addScriptTag({ path: axe });
  const result = await page.evaluate(() => /** @type {any} */ (globalThis).axe.run());
  return result.violations.map((/** @type {any} */ one) =>
    `${one.id}: ${one.nodes.map((/** @type {any} */ node) => node.target).join(", ")}`);
}

/**
 * The pages in light on a table, and in dark on a tablet.
 * @param {import("playwright-core").Browser} browser
 * @param {string} name
 * @param {Module} module
 */
async function looks(browser, name, module) {
  for (const [size, colorScheme] of /** @type {const} */ ([["table", "light"], ["tablet", "dark"]])) {
    const viewport = size === "table" ? TABLE : TABLET;
    // The checker is put into the page from outside, which the page itself forbids.
    const page = await browser.newPage({ colorScheme, viewport, bypassCSP: true });
    for (const [index, path] of module.addresses.entries()) {
      await page.goto(address + path, { waitUntil: "networkidle" });
      await help.shoot(page, `${name}-${index + 1}-${size}-${colorScheme}`);
      assert.deepEqual(await faults(page), [], `${path}, ${size}, ${colorScheme}`);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= viewport.width, `${path} is ${wide} px wide on a ${size}`);
    }
    await page.close();
  }
}

/**
 * One case on a page of its own; gives what was wrong.
 * @param {import("playwright-core").Browser} browser
 * @param {string} name
 * @param {Module} module
 * @param {Module["cases"][number]} one
 */
async function attempt(browser, name, module, [title, check]) {
  // A context of its own, so that a case can open a second page beside the first.
  const context = await browser.newContext({ viewport: TABLE });
  const page = await context.newPage();
  const heard = complaints(page);
  try {
    await page.goto(address + module.room);
    await check(page, help);
    assert.deepEqual(heard, []);
    return null;
  } catch (error) {
    await help.shoot(page, `${name}-failed`);
    return new Error(`${name}: ${title}`, { cause: error });
  } finally {
    await context.close();
  }
}

/** @param {import("playwright-core").Browser} browser */
async function run(browser) {
  let checks = 0;
  /** What passed at the second try only: a browser on a busy machine is not always in step. @type {string[]} */
  const late = [];
  for (const name of only.length > 0 ? only : MODULES) {
    /** @type {Module} */
    const module = await import(`./${name}.mjs`);
    for (const one of module.cases) {
      const wrong = await attempt(browser, name, module, one);
      if (wrong) {
        console.log(`once more: ${name}: ${one[0]}: ${inspect(wrong.cause)}`);
        const again = await attempt(browser, name, module, one);
        if (again) throw again;
        late.push(`${name}: ${one[0]}`);
      }
      checks += 1;
      console.log(`ok: ${name}: ${one[0]}`);
    }
    await looks(browser, name, module);
    checks += 1;
    console.log(`ok: ${name}: accessible by axe-core's rules, light on a table and dark on a tablet`);
    if (module.times) {
      const page = await browser.newPage({ viewport: TABLE });
      await module.times(page, help);
      await page.close();
    }
  }
  return { checks, late };
}

if (screenshots) mkdirSync(screenshots, { recursive: true });
const started = performance.now();
const browser = await chromium.launch({ executablePath, args: ARGUMENTS });
try {
  const { checks, late } = await run(browser);
  for (const title of late) console.log(`only at the second try: ${title}`);
  console.log(`${checks} browser checks in ${((performance.now() - started) / 1000).toFixed(1)} s, ${late.length} at the second try only`);
} finally {
  await browser.close();
}
