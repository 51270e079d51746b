// @ts-check
/** The room of practice, used with the mouse, with a finger on a phone, and with the keyboard alone. */
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";

export const room = "/practice?test=test-1.toml";
export const addresses = [
  "/practice",
  "/practice?test=test-1.toml&level=1&seed=3",
  "/practice?test=test-1.toml&level=4&seed=3",
  "/practice?test=test-1.toml&level=2&seed=3",
];

/** @typedef {import("playwright-core").Page} Page */
/** @typedef {[number, number]} Spot */

const TASK = { level: 3, seed: 5 };
const FILE = "test-1.toml";

/** Opens a variant, and waits until it can be drawn on. @param {Page} page @param {{address: string}} help */
async function open(page, help, { level, seed } = TASK) {
  await page.goto(`${help.address}/practice?test=${FILE}&level=${level}&seed=${seed}`);
  await ready(page);
}

/** @param {Page} page */
const ready = (page) => page.waitForFunction(() => document.documentElement.dataset.ready);

/** What the core answers, asked from the page. @param {Page} page @param {string} what @param {object} [variant] */
const ask = (page, what, variant = TASK) => page.evaluate(async ([what, request]) => {
  const response = await fetch(`/practice/core/${what}`, { method: "POST", body: JSON.stringify(request) });
  return response.json();
}, /** @type {const} */ ([what, { definition: { file: FILE }, ...variant }]));

/** Where places on the page are on the screen. @param {Page} page @param {Spot[]} spots @returns {Promise<Spot[]>} */
const onScreen = (page, spots) => page.evaluate((spots) => {
  const svg = document.querySelector("#stage svg");
  if (!(svg instanceof SVGSVGElement)) throw new Error("no page to draw on");
  const map = svg.getScreenCTM();
  return spots.map(([x, y]) => {
    const at = new DOMPoint(x, y).matrixTransform(map ?? undefined);
    return /** @type {[number, number]} */ ([at.x, at.y]);
  });
}, spots);

/** Draws a stroke with the mouse. @param {Page} page @param {Spot[]} stroke */
async function draw(page, stroke) {
  await page.locator("#stage").scrollIntoViewIfNeeded();
  const [first, ...rest] = await onScreen(page, stroke);
  await page.mouse.move(...first);
  await page.mouse.down();
  for (const at of rest) await page.mouse.move(...at);
  await page.mouse.up();
}

/** Draws the key, each point moved by `by`. @param {Page} page @param {(channel: string, at: Spot) => Spot} [by] */
async function drawKey(page, by = (_, at) => at) {
  const key = await ask(page, "key");
  for (const [channel, strokes] of Object.entries(key.strokes)) {
    for (const stroke of strokes) await draw(page, stroke.map((/** @type {Spot} */ at) => by(channel, at)));
  }
}

/** @param {Page} page */
async function checked(page) {
  await page.locator("#check").click();
  await page.locator("#findings li").first().waitFor();
  return (await page.locator("#score").textContent()) ?? "";
}

/** @type {[string, (page: Page, help: {address: string, shoot: (page: Page, name: string) => Promise<unknown>}) => Promise<void>][]} */
export const cases = [
  ["a task drawn with the mouse is judged, and less help comes next", async (page, help) => {
    await open(page, help);
    await drawKey(page);
    assert.match(await checked(page), /Everything is where it belongs/);
    await help.shoot(page, "practice-met");
    const before = page.url();
    await page.locator("#harder").click();
    await page.waitForURL((url) => url.href !== before && url.searchParams.get("level") === "4");
    await ready(page);
    assert.equal(await page.locator("#stage .drawn path").count(), 0);
  }],
  ["what is wrong is shown at its place, with three hints", async (page, help) => {
    await open(page, help);
    await drawKey(page, (channel, [x, y]) => [channel === "heart_sounds" ? x + 8 : x, y]);
    assert.match(await checked(page), /rules are met/);
    const wrong = page.locator("#findings li.not_met").first();
    assert.match((await wrong.textContent()) ?? "", /mm .* too (late|early)/);
    await wrong.locator(".finding").click();
    assert.equal(await wrong.locator(".finding").getAttribute("aria-pressed"), "true");
    await page.locator("#stage .ring.chosen").waitFor();
    await page.locator("#leader:not([hidden])").waitFor({ state: "attached" });
    await wrong.locator(".hint").click();
    await page.locator("#stage .area").waitFor({ state: "attached" });
    await wrong.locator(".hint").click();
    await wrong.locator(".hint").click();
    await page.locator("#stage .ghost path").first().waitFor({ state: "attached" });
    await help.shoot(page, "practice-wrong");
    await draw(page, [[60, 120], [70, 121], [75, 121]]);
    assert.match((await page.locator("#score").textContent()) ?? "", /Changed since/);
  }],
  ["the whole drawing and what checks it are in sight on a screen of 1280 by 720", async (page, help) => {
    for (const level of [1, 4]) {
      await open(page, help, { level, seed: 5 });
      for (const part of ["#stage", "#check", "#hear"]) {
        const box = await page.locator(part).boundingBox();
        assert.ok(box && box.y >= 0 && box.y + box.height <= 720, `level ${level}, ${part}: ${JSON.stringify(box)}`);
      }
    }
    await page.setViewportSize({ width: 400, height: 800 });
    const [stage, check, hear] = await Promise.all(["#stage", "#check", "#hear"].map((part) => page.locator(part).boundingBox()));
    assert.ok(stage && check && hear && stage.y < check.y && check.y < hear.y, "in one column it comes right below the drawing");
    await page.setViewportSize({ width: 1280, height: 720 });
  }],
  ["strokes are undone, redone, erased, drawn over and smoothed", async (page, help) => {
    await open(page, help);
    const task = await ask(page, "task");
    const panel = task.panels.find((/** @type {{channel: string}} */ one) => one.channel === "aortic_pressure");
    const y = panel.y_mm + panel.height_mm / 2;
    const strokes = page.locator("#stage .drawn .stroke");
    await draw(page, [[20, y], [60, y], [120, y]]);
    assert.equal(await strokes.count(), 1);
    await page.keyboard.press("Control+z");
    assert.equal(await strokes.count(), 0);
    await page.keyboard.press("Control+y");
    assert.equal(await strokes.count(), 1);
    await page.locator("#smooth").click();
    await page.getByRole("button", { name: "Erase" }).click();
    await draw(page, [[60, y], [65, y], [80, y]]);
    assert.equal(await strokes.count(), 2);
    await page.getByRole("button", { name: "Draw", exact: true }).click();
    await draw(page, [[50, y - 5], [70, y - 5], [90, y - 5]]);
    assert.equal(await strokes.count(), 3);
    await page.getByRole("button", { name: "Line", exact: true }).click();
    await draw(page, [[70, y], [72, y]]);
    assert.equal(await page.locator("#stage .ownline").count(), 1);
    await draw(page, [[72, y], [90, y], [-9, y]]);
    assert.equal(await page.locator("#stage .ownline").count(), 0);
    await page.locator("#nearer").click();
    await page.locator("#whole").click();
  }],
  ["everything is done with the keyboard alone", async (page, help) => {
    await open(page, help);
    const key = await ask(page, "key_points");
    const task = await ask(page, "task");
    // From the page to what follows it: the switch, then each point.
    await page.locator("#stage").focus();
    await page.keyboard.press("p");
    await page.keyboard.press("Tab");
    assert.equal(await page.evaluate(() => document.activeElement?.id), "alike");
    await page.keyboard.press("Space");
    for (let point = 0; point < task.points.length; point += 1) {
      await page.keyboard.press("Tab");
      const at = Number(await page.evaluate(() => /** @type {HTMLElement} */ (document.activeElement).dataset.point));
      const [from, to] = [task.points[at].start_mm, key[at]];
      for (const [axis, less, more] of /** @type {const} */ ([[0, "ArrowLeft", "ArrowRight"], [1, "ArrowUp", "ArrowDown"]])) {
        const way = to[axis] - from[axis];
        const arrow = way < 0 ? less : more;
        const whole = Math.floor(Math.abs(way));
        for (let n = 0; n < whole; n += 1) await page.keyboard.press(arrow);
        const fine = Math.round((Math.abs(way) - whole) / 0.2);
        for (let n = 0; n < fine; n += 1) await page.keyboard.press(`Shift+${arrow}`);
      }
      assert.match((await page.locator("#spoken").textContent()) ?? "", /ms/);
    }
    await page.waitForTimeout(600);
    await page.keyboard.press("c");
    await page.locator("#findings li").first().waitFor();
    assert.match((await page.locator("#score").textContent()) ?? "", /Everything is where it belongs/);
    await help.shoot(page, "practice-keyboard");
    // The line by keys, too.
    await page.keyboard.press("l");
    await page.locator("#stage").focus();
    for (const press of ["ArrowRight", "ArrowRight", "Enter"]) await page.keyboard.press(press);
    assert.equal(await page.locator("#stage .ownline").count(), 1);
    await page.keyboard.press("Delete");
    assert.equal(await page.locator("#stage .ownline").count(), 0);
  }],
  ["a finger draws on a phone, and two move the page", async (page, help) => {
    await page.setViewportSize({ width: 360, height: 740 });
    await open(page, help);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= 360), "wider than the phone");
    const finger = await page.context().newCDPSession(page);
    const touch = (/** @type {"touchStart" | "touchMove" | "touchEnd"} */ type, /** @type {Spot[]} */ at) =>
      finger.send("Input.dispatchTouchEvent", { type, touchPoints: at.map(([x, y], id) => ({ x, y, id })) });
    await page.locator("#stage").scrollIntoViewIfNeeded();
    const box = await page.locator("#stage .frame.asked").last().boundingBox();
    const stage = await page.locator("#stage").boundingBox();
    assert.ok(box && stage);
    const y = Math.min(box.y + 20, stage.y + stage.height - 30);
    await touch("touchStart", [[stage.x + 80, y]]);
    for (let x = 80; x < 300; x += 4) await touch("touchMove", [[stage.x + x, y + 8 * Math.sin(x / 20)]]);
    await touch("touchEnd", []);
    assert.equal(await page.locator("#stage .drawn .stroke").count(), 1);
    await help.shoot(page, "practice-phone");
    const view = () => page.locator("#stage svg").getAttribute("viewBox");
    const before = await view();
    const middle = stage.y + stage.height / 2;
    await touch("touchStart", [[stage.x + 150, middle], [stage.x + 200, middle]]);
    for (let d = 0; d < 60; d += 6) await touch("touchMove", [[stage.x + 150 - d, middle], [stage.x + 200 + d, middle]]);
    await touch("touchEnd", []);
    assert.notEqual(await view(), before);
    assert.equal(await page.locator("#stage .drawn .stroke").count(), 1, "two fingers drew");
  }],
  ["the figure is built along, and questions are answered", async (page, help) => {
    await open(page, help);
    await page.getByText("Build along").click();
    await page.getByText(/Step 1 of/).waitFor();
    await page.locator("#build-show").click();
    await page.locator("#stage .ghost path").first().waitFor({ state: "attached" });
    await page.locator("#build-why").click();
    assert.notEqual(await page.locator("#build-cause").textContent(), "");
    await page.locator("#build-next").click();
    await page.getByText(/Step 2 of/).waitFor();
    await help.shoot(page, "practice-build");
    await page.getByText("Questions", { exact: true }).click();
    await page.getByText(/Question 1 of/).waitFor();
    const { answer } = await ask(page, "check", { ...TASK, question: 0, answer: [] });
    const asked = (await ask(page, "questions"))[0];
    assert.equal(asked.kind, "order");
    for (let place = 0; place < answer.length; place += 1) {
      const text = asked.choices[answer[place]];
      for (;;) {
        const items = await page.locator(".order li > span").allTextContents();
        const at = items.indexOf(text);
        if (at === place) break;
        await page.getByRole("button", { name: `Earlier: ${text}`, exact: true }).click();
      }
    }
    await page.locator("#quiz-answer").click();
    await page.getByText(/^Right\./).waitFor();
    await help.shoot(page, "practice-questions");
  }],
  ["progress is kept only if asked for, and saved as a file", async (page, help) => {
    await open(page, help);
    await checked(page);
    const kept = () => page.evaluate(() => localStorage.getItem("incisura-practice"));
    assert.equal(await kept(), null);
    await page.getByText("Progress", { exact: true }).click();
    await page.getByLabel(/Keep my progress/).check();
    assert.match((await kept()) ?? "", /test-1/);
    const saving = page.waitForEvent("download");
    await page.locator("#export").click();
    const file = JSON.parse(await readFile(await (await saving).path(), "utf8"));
    assert.equal(file.tries.length, 1);
    await page.reload();
    await ready(page);
    await page.getByText("Progress", { exact: true }).click();
    assert.match((await page.locator("#progress-said").textContent()) ?? "", /Tries: 1;/);
    await page.locator("#forget").click();
    assert.equal(await kept(), null);
  }],
  ["another variant is another heart, at an address of its own", async (page, help) => {
    await open(page, help);
    const before = page.url();
    await page.locator("#variant").click();
    await page.waitForURL((url) => url.href !== before);
    await ready(page);
    const told = await page.locator("#stage .given path").first().getAttribute("d");
    await page.reload();
    await ready(page);
    assert.equal(await page.locator("#stage .given path").first().getAttribute("d"), told);
    await page.locator("#level").selectOption("1");
    await page.waitForURL(/level=1/);
    assert.match((await page.locator("#told").textContent()) ?? "", /alignment lines/);
  }],
];
