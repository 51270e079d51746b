// @ts-check
/**
 * The practice page as a file for home: from the disk, with the network cut off, with mouse, keyboard and finger; and in
 * packages, in a host made for this test.
 */
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import { existsSync } from "node:fs";
import { mkdtemp, readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { host, unzipped } from "./scorm_host.mjs";

export const room = "/practice?test=test-1.toml&level=3&seed=5";
/** What the page looks like is checked below, where it is opened from the disk. @type {string[]} */
export const addresses = [];

/** @typedef {import("playwright-core").Page} Page */
/** @typedef {import("playwright-core").BrowserContextOptions} Options */
/** @typedef {{address: string, shoot: (page: Page, name: string) => Promise<void>}} Help */
/** @typedef {[number, number]} Spot */
/** @typedef {{level: number, seed: number}} Variant */

const FILE = "test-1.toml";
const TASK = { level: 3, seed: 5 };
const TABLE = { viewport: { width: 1280, height: 720 } };
const PHONE = { viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 };
const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");

/** Saves what a link of the room gives; none if the program was built without the core. @param {Page} page @param {string} name */
async function saved(page, name) {
  const link = page.locator(".athome").getByRole("link", { name, exact: true });
  if (!(await link.count())) {
    console.log("skipped: this program was built without the practice core");
    return null;
  }
  const saving = page.waitForEvent("download");
  await link.click();
  const download = await saving;
  const path = join(await mkdtemp(join(tmpdir(), "practice-")), download.suggestedFilename());
  await download.saveAs(path);
  return path;
}

/**
 * Does something with the page opened from the disk, with the network cut off.
 * @param {Page} page @param {Options} options @param {{level: number, seed: number} | null} variant @param {(alone: Page) => Promise<void>} act
 */
async function fromDisk(page, options, variant, act) {
  const path = await saved(page, "Practice page");
  const browser = page.context().browser();
  if (!path || !browser) return;
  const context = await browser.newContext(options);
  await context.setOffline(true);
  const alone = await context.newPage();
  /** @type {string[]} */
  const heard = [];
  alone.on("pageerror", (error) => heard.push(error.message));
  alone.on("console", (message) => message.type() === "error" && heard.push(message.text()));
  alone.on("request", (request) => /^(file|data|blob):/.test(request.url()) || heard.push(`asks ${request.url()}`));
  await alone.goto(pathToFileURL(path).href + (variant ? `#level=${variant.level}&seed=${variant.seed}` : ""));
  await ready(alone);
  await act(alone);
  assert.deepEqual(heard, []);
  await context.close();
}

/** @param {Page} page */
const ready = (page) => page.waitForFunction(() => document.documentElement.dataset.ready);

/** Starts the core that stands in the page once more, to be asked by the test. @param {Page} page */
const core = (page) => page.evaluate(async () => {
  const [packed, data] = ["#practice-core", "#practice-data"].map((name) => document.querySelector(name)?.textContent ?? "");
  const bytes = Uint8Array.from(atob(packed), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const { instance } = await WebAssembly.instantiate(await new Response(stream).arrayBuffer(), {});
  const { memory, question, answer, answered } = /** @type {any} */ (instance.exports);
  const { definition } = JSON.parse(data);
  /** @type {any} */ (globalThis).askCore = (/** @type {string} */ what, /** @type {object} */ request) => {
    const text = new TextEncoder().encode(what + JSON.stringify({ definition, ...request }));
    // Making room may move the memory, so that comes first.
    const place = question(text.length);
    new Uint8Array(memory.buffer, place, text.length).set(text);
    const length = answer(new TextEncoder().encode(what).length);
    const told = new TextDecoder().decode(new Uint8Array(memory.buffer, answered(), Math.abs(length)));
    if (length < 0) throw new Error(told);
    return told;
  };
});

/** What the core in the page answers, as it writes it. @param {Page} page @param {string} what @param {object} request @returns {Promise<string>} */
const inPage = (page, what, request) => page.evaluate(([what, request]) =>
  /** @type {any} */ (globalThis).askCore(what, request), /** @type {const} */ ([what, request]));

/** What the program answers. @param {Page} page @param {string} what @param {object} request @returns {Promise<string>} */
const native = (page, what, request) => page.evaluate(async ([what, request]) =>
  (await fetch(`/practice/core/${what}`, { method: "POST", body: JSON.stringify(request) })).text(),
/** @type {const} */ ([what, { definition: { file: FILE }, ...request }]));

/** Where places on the page are on the screen. @param {Page} page @param {Spot[]} spots @returns {Promise<Spot[]>} */
const onScreen = (page, spots) => page.evaluate((spots) => {
  const map = /** @type {SVGSVGElement} */ (document.querySelector("#stage svg")).getScreenCTM();
  return spots.map(([x, y]) => {
    const at = new DOMPoint(x, y).matrixTransform(map ?? undefined);
    return /** @type {[number, number]} */ ([at.x, at.y]);
  });
}, spots);

/** Draws a stroke with the mouse. @param {Page} page @param {Spot[]} stroke */
async function draw(page, stroke) {
  const [first, ...rest] = await onScreen(page, stroke);
  await page.mouse.move(...first);
  await page.mouse.down();
  for (const at of rest) await page.mouse.move(...at);
  await page.mouse.up();
}

/** @param {Page} page */
async function checked(page) {
  await page.locator("#check").click();
  await page.locator("#result").waitFor();
  return { score: (await page.locator("#score").textContent()) ?? "", code: (await page.locator("#code").textContent()) ?? "" };
}

/** Nothing to complain of for the accessibility checker, nor wider than the screen. @param {Page} page */
async function looksWell(page) {
  assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), "wider than the screen");
  await page.addScriptTag({ path: axe });
  const result = await page.evaluate(() => /** @type {any} */ (globalThis).axe.run());
  assert.deepEqual(result.violations.map((/** @type {any} */ one) => `${one.id}: ${one.nodes[0].target}`), []);
}

/** Holds a manifest to the standard's schemas, where they and a Python to check with are at hand. @param {string} edition @param {Buffer} manifest */
function valid(edition, manifest) {
  const [python, schemas] = [process.env.INCISURA_PYTHON, "schemas/package/lib/schemas/definitionFiles"];
  if (!python || !existsSync(schemas)) return console.log(`skipped: ${edition}'s schemas or Python are not at hand`);
  const checked = spawnSync(python, ["scorm_check.py", schemas, edition], { input: manifest, encoding: "utf8" });
  assert.equal(checked.status, 0, checked.stderr);
  console.log(`${edition}: the manifest is valid by the standard's schemas`);
}

/** Numbers between nought and one, in every run the same. @param {number} seed */
function chance(seed) {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

/** @type {[string, (page: Page, help: Help) => Promise<void>][]} */
export const cases = [
  ["from the disk, without a network: drawn, judged, heard, built, asked; and its code fits", async (page, help) => {
    let code = "";
    await fromDisk(page, TABLE, TASK, async (alone) => {
      await core(alone);
      const key = JSON.parse(await inPage(alone, "key", TASK));
      await alone.locator("#stage").scrollIntoViewIfNeeded();
      for (const strokes of Object.values(key.strokes)) for (const stroke of strokes) await draw(alone, stroke);
      const first = await checked(alone);
      assert.match(first.score, /rules are met|Everything is where it belongs/);
      assert.ok(await alone.locator("#findings li.met").count(), "nothing is met");
      await help.shoot(alone, "practice-page");
      code = first.code;
      await alone.locator("#hear").click();
      await alone.getByText("Stop the sound").waitFor();
      await alone.locator("#slowly").check();
      await alone.getByText("Hear this heart").waitFor();
      // What was drawn, as a tone, with a line that goes along.
      await alone.locator("#heard").selectOption({ label: "Heart sounds, Aortic pressure as a tone" });
      await alone.locator("#hear").click();
      await alone.locator("#stage .sweepline").waitFor({ state: "attached" });
      await alone.locator("#hear").click();
      await alone.locator("#stage .sweepline").waitFor({ state: "detached" });
      await alone.getByText("Build along").click();
      await alone.getByText(/Step 1 of/).waitFor();
      await alone.getByText("Questions", { exact: true }).click();
      await alone.getByText(/Question 1 of/).waitFor();
      await alone.getByText("Progress", { exact: true }).click();
      await alone.getByLabel(/Keep my progress/).check();
      const saving = alone.waitForEvent("download");
      await alone.locator("#export").click();
      const file = JSON.parse(await readFile(await (await saving).path(), "utf8"));
      assert.equal(file.tries[0].code, code);
      // Reloaded it is the same task; another variant is another.
      await alone.reload();
      await ready(alone);
      assert.equal(await alone.evaluate(() => document.documentElement.dataset.ready), "3 5");
      await alone.locator("#variant").click();
      await alone.waitForFunction(() => document.documentElement.dataset.ready && document.documentElement.dataset.ready !== "3 5");
      assert.match(alone.url(), /#level=3&seed=\d+/);
    });
    if (!code) return;
    const fits = async (/** @type {string} */ typed) => {
      await page.locator("#result-code").fill(typed);
      await page.getByRole("button", { name: "Does it fit?" }).click();
      await page.locator("#code-said").waitFor();
      return (await page.locator("#code-said").textContent()) ?? "";
    };
    assert.match(await fits(code), /The code fits: .* level 3, variant 5/);
    assert.match(await fits(code.replace(/-3-5-/, "-4-5-")), /does not fit/);
  }],
  ["a fresh page opens with one of the tasks that came with it, which are those that the core makes", async (page) => {
    await fromDisk(page, PHONE, null, async (alone) => {
      const tasks = JSON.parse((await alone.locator("#practice-data").textContent()) ?? "").tasks;
      assert.ok(tasks.length > 4);
      const shown = await alone.evaluate(() => document.documentElement.dataset.ready);
      assert.ok(tasks.some((/** @type {Variant} */ task) => shown === `${task.level} ${task.seed}`), shown);
      await core(alone);
      for (const task of tasks) {
        const { level, seed } = task;
        assert.deepEqual(JSON.parse(await inPage(alone, "task", { level, seed })), task);
      }
      await alone.locator("#heard").selectOption("aortic_pressure");
      await alone.locator("#hear").click();
      await alone.getByText("Nothing is drawn yet in the panel of the aortic pressure.").waitFor();
    });
  }],
  ["from the disk with the keyboard alone", async (page, help) => {
    await fromDisk(page, TABLE, TASK, async (alone) => {
      await core(alone);
      const key = JSON.parse(await inPage(alone, "key_points", TASK));
      const task = JSON.parse(await inPage(alone, "task", TASK));
      await alone.keyboard.press("Tab");
      await alone.keyboard.press("Enter");
      // Skipping to the drawing leaves the task what it is.
      await alone.waitForURL(/#level=3&seed=5$/);
      await alone.locator("#stage").focus();
      await alone.keyboard.press("p");
      await alone.keyboard.press("Tab");
      await alone.keyboard.press("Space");
      for (let point = 0; point < task.points.length; point += 1) {
        await alone.keyboard.press("Tab");
        const at = Number(await alone.evaluate(() => /** @type {HTMLElement} */ (document.activeElement).dataset.point));
        const [from, to] = [task.points[at].start_mm, key[at]];
        for (const [axis, less, more] of /** @type {const} */ ([[0, "ArrowLeft", "ArrowRight"], [1, "ArrowUp", "ArrowDown"]])) {
          const way = to[axis] - from[axis];
          const whole = Math.floor(Math.abs(way));
          const arrow = way < 0 ? less : more;
          for (let n = 0; n < whole; n += 1) await alone.keyboard.press(arrow);
          const fine = Math.round((Math.abs(way) - whole) / 0.2);
          for (let n = 0; n < fine; n += 1) await alone.keyboard.press(`Shift+${arrow}`);
        }
        assert.match((await alone.locator("#spoken").textContent()) ?? "", /ms/);
      }
      await alone.waitForTimeout(600);
      await alone.keyboard.press("c");
      await alone.locator("#result").waitFor();
      assert.match((await alone.locator("#score").textContent()) ?? "", /Everything is where it belongs/);
      await help.shoot(alone, "practice-page-keyboard");
    });
  }],
  ["from the disk on a phone, with a finger", async (page, help) => {
    await fromDisk(page, { ...PHONE, bypassCSP: true }, TASK, async (alone) => {
      await help.shoot(alone, "practice-page-phone-opened");
      const finger = await alone.context().newCDPSession(alone);
      await alone.locator("#stage").scrollIntoViewIfNeeded();
      const [box, stage] = [await alone.locator("#stage .frame.asked").last().boundingBox(), await alone.locator("#stage").boundingBox()];
      assert.ok(box && stage);
      const y = Math.min(box.y + 20, stage.y + stage.height - 30);
      const touch = (/** @type {"touchStart" | "touchMove" | "touchEnd"} */ type, /** @type {Spot[]} */ at) =>
        finger.send("Input.dispatchTouchEvent", { type, touchPoints: at.map(([x, y], id) => ({ x, y, id })) });
      await touch("touchStart", [[stage.x + 80, y]]);
      for (let x = 80; x < 300; x += 4) await touch("touchMove", [[stage.x + x, y + 8 * Math.sin(x / 20)]]);
      // A finger that rests before it is lifted throws nothing, which a tap would have to catch.
      await alone.waitForTimeout(300);
      await touch("touchEnd", []);
      assert.equal(await alone.locator("#stage .drawn .stroke").count(), 1);
      await alone.locator("#check").tap();
      await alone.locator("#findings li").first().waitFor();
      await help.shoot(alone, "practice-page-phone");
      await looksWell(alone);
    });
  }],
  ["from the disk in light and dark, at 200 % text, without motion", async (page, help) => {
    for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
      await fromDisk(page, { ...TABLE, colorScheme, reducedMotion: "reduce", bypassCSP: true }, TASK, async (alone) => {
        await checked(alone);
        await looksWell(alone);
        await alone.evaluate(() => (document.documentElement.style.fontSize = "200%"));
        assert.ok(await alone.evaluate(() => document.documentElement.scrollWidth <= innerWidth), "wider than the screen at 200 %");
        await help.shoot(alone, `practice-page-large-${colorScheme}`);
      });
    }
  }],
  ["the page judges as the program does", async (page) => {
    let [same, rules] = [0, 0];
    await fromDisk(page, TABLE, TASK, async (alone) => {
      await core(alone);
      for (let seed = 1; seed <= 6; seed += 1) {
        for (let level = 1; level <= 4; level += 1) {
          const variant = { level, seed };
          assert.equal(await inPage(alone, "task", variant), await native(page, "task", variant), `task of ${level} ${seed}`);
          const key = JSON.parse(await native(page, "key", variant));
          const points = JSON.parse(await native(page, "key_points", variant));
          const random = chance(100 * seed + level);
          const drawings = [key];
          for (let number = 0; number < 41; number += 1) {
            const far = [1, 3, 8][number % 3];
            const moved = points.map((/** @type {Spot} */ [x, y]) => [x + far * (random() - 0.5), y + far * (random() - 0.5)]);
            const through = await native(page, "through", { ...variant, points: moved });
            assert.equal(await inPage(alone, "through", { ...variant, points: moved }), through, `through of ${level} ${seed}`);
            drawings.push(JSON.parse(through));
          }
          for (const drawing of drawings) {
            const verdict = await native(page, "judge", { ...variant, drawing });
            assert.equal(await inPage(alone, "judge", { ...variant, drawing }), verdict, `verdict of ${level} ${seed}`);
            same += 1;
            rules += JSON.parse(verdict).rules.length;
          }
        }
      }
    });
    if (!same) return;
    assert.equal(same, 6 * 4 * 42);
    console.log(`the same verdicts, letter for letter, in the page and in the program: ${same} drawings, ${rules} rules`);
  }],
  ...["SCORM 1.2", "SCORM 2004"].map((edition) => /** @type {[string, (page: Page) => Promise<void>]} */ ([
    `a package for ${edition} reports to a host`,
    async (page) => {
      const path = await saved(page, edition);
      const browser = page.context().browser();
      if (!path || !browser) return;
      const files = unzipped(await readFile(path));
      assert.deepEqual([...files.keys()], ["imsmanifest.xml", "index.html"]);
      valid(edition, files.get("imsmanifest.xml") ?? Buffer.of());
      const place = await host(edition, files);
      const context = await browser.newContext(TABLE);
      const around = await context.newPage();
      await around.goto(place.address);
      const alone = around.frameLocator("#outer").frameLocator("#sco");
      await alone.locator("html[data-ready]:not([data-ready=''])").waitFor({ state: "attached" });
      await alone.locator("#check").click();
      await alone.locator("#result").waitFor();
      const told = async () => /** @type {{faults: string[], values: Record<string, string>, state: string, commits: number}} */ (
        await around.evaluate(() => /** @type {any} */ (globalThis).told));
      const first = await told();
      const names = edition === "SCORM 1.2"
        ? { raw: "cmi.core.score.raw", status: "cmi.core.lesson_status", exit: "cmi.core.exit" }
        : { raw: "cmi.score.raw", status: "cmi.completion_status", exit: "cmi.exit" };
      assert.deepEqual(first.faults, []);
      assert.equal(first.values[names.raw], "0");
      assert.equal(first.values[names.status], "incomplete");
      assert.ok(first.commits > 0);
      // A better try is reported, by points placed where the key has them.
      const frame = around.frames().find((one) => one.name() === "sco");
      assert.ok(frame);
      const { level, seed } = await frame.evaluate(() => Object.fromEntries(new URLSearchParams(location.hash.slice(1))));
      const variant = { level: Number(level), seed: Number(seed) };
      const key = JSON.parse(await native(page, "key", variant));
      const map = await frame.evaluate(() => {
        const { a, d, e, f } = /** @type {DOMMatrix} */ (/** @type {SVGSVGElement} */ (document.querySelector("#stage svg")).getScreenCTM());
        return { a, d, e, f };
      });
      const inset = await (await frame.frameElement()).boundingBox();
      assert.ok(inset);
      for (const strokes of Object.values(key.strokes)) {
        for (const stroke of strokes) {
          const at = stroke.map((/** @type {Spot} */ [x, y]) => [inset.x + map.a * x + map.e, inset.y + map.d * y + map.f]);
          await around.mouse.move(at[0][0], at[0][1]);
          await around.mouse.down();
          for (const [x, y] of at.slice(1)) await around.mouse.move(x, y);
          await around.mouse.up();
        }
      }
      const commits = first.commits;
      await alone.locator("#check").click();
      await around.waitForFunction((before) => /** @type {any} */ (globalThis).told.commits > before, commits);
      const second = await told();
      assert.ok(Number(second.values[names.raw]) > 50, `score ${second.values[names.raw]}`);
      if (edition === "SCORM 2004") assert.ok(Math.abs(Number(second.values["cmi.score.scaled"]) - Number(second.values[names.raw]) / 100) < 0.001);
      await around.evaluate(() => document.querySelector("#outer")?.remove());
      const last = await told();
      assert.deepEqual(last.faults, []);
      assert.equal(last.state, "ended");
      assert.equal(last.values[names.exit], "suspend");
      console.log(`${edition}: score ${second.values[names.raw]}, ${last.commits} commits, ended`);
      await context.close();
      place.close();
    },
  ])),
];

/** How long opening and judging take, also on a slow computer. @param {Page} page @param {Help} help */
export async function times(page, help) {
  await page.goto(help.address + room);
  const path = await saved(page, "Practice page");
  const browser = page.context().browser();
  if (!path || !browser) return;
  const size = (await readFile(path)).length;
  console.log(`practice page: ${(size / 1e6).toFixed(2)} MB`);
  for (const rate of [1, 4]) {
    const context = await browser.newContext(PHONE);
    const alone = await context.newPage();
    const slow = await context.newCDPSession(alone);
    await slow.send("Emulation.setCPUThrottlingRate", { rate });
    await alone.addInitScript(() => {
      const noted = /** @type {any} */ (globalThis);
      new MutationObserver(() => {
        if (document.documentElement?.dataset.ready) noted.opened ??= performance.now();
      }).observe(document, { attributes: true, subtree: true });
    });
    const opens = async (/** @type {string} */ variant) => {
      await alone.goto("about:blank");
      await alone.goto(pathToFileURL(path).href + variant);
      await ready(alone);
      return Number(await alone.evaluate(() => /** @type {any} */ (globalThis).opened));
    };
    const fresh = await opens("");
    const opened = await opens("#level=2&seed=300");
    await core(alone);
    const took = await alone.evaluate((variant) => {
      const ask = /** @type {any} */ (globalThis).askCore;
      const timed = (/** @type {() => void} */ act) => {
        const begun = performance.now();
        act();
        return performance.now() - begun;
      };
      const task = timed(() => ask("task", variant));
      const drawing = JSON.parse(ask("key", variant));
      const judged = [1, 2, 3, 4, 5].map(() => timed(() => ask("judge", { ...variant, drawing }))).sort((a, b) => a - b);
      return { task, judge: judged[2] };
    }, { level: 2, seed: 3 });
    console.log(`practice page, processor slowed ${rate} times: drawing possible ${fresh.toFixed(0)} ms after opening, `
      + `a task that did not come with the page ${opened.toFixed(0)} ms (of which the task ${took.task.toFixed(0)} ms); judging ${took.judge.toFixed(0)} ms`);
    await context.close();
  }
}
