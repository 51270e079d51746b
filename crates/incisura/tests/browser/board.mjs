// @ts-check
/** The board: the build before a class. */
import assert from "node:assert/strict";

/** @typedef {import("playwright-core").Page} Page */
/** @typedef {{address: string, shoot: (page: Page, name: string) => Promise<void>}} Help */

export const room = "/board";
export const addresses = [
  "/board",
  "/board?convention=first_course&rate=900",
  "/board?convention=first_course&step=5",
  "/board?convention=first_course&step=5&ask=on",
  "/board?convention=left_heart&step=12&cause=on&ground=black",
  "/board?convention=first_course&step=3&buttons=off&labels=off",
];

const BOARD = { width: 1280, height: 720 };

/** @param {Page} page @param {string} selector */
const text = async (page, selector) => ((await page.locator(selector).textContent()) ?? "").trim();
/** @param {Page} page @param {number} step */
const at = (page, step) =>
  page.waitForFunction((wanted) => document.getElementById("stage")?.dataset.drawn === wanted, String(step));
/** @param {Page} page @param {...string} keys */
const press = async (page, ...keys) => {
  for (const key of keys) await page.keyboard.press(key);
};
/** @param {Page} page @param {Help} help @param {string} query */
const open = async (page, help, query) => {
  await page.setViewportSize(BOARD);
  await page.goto(`${help.address}/board?${query}`);
};

/** @type {[string, (page: Page, help: Help) => Promise<void>][]} */
export const cases = [
  ["a build is gone through from the entry by keyboard alone", async (page, help) => {
    await page.keyboard.press("Enter");
    await page.waitForURL(/convention=/);
    await at(page, 1);
    assert.match(await text(page, "#of"), /^Step 1 of \d+$/);
    await press(page, "ArrowRight", "PageDown", "Space");
    await at(page, 4);
    assert.match(await text(page, "#of"), /^Step 4 of/);
    await help.shoot(page, "board-step");
    await press(page, "PageUp", "ArrowLeft");
    await at(page, 2);
    await press(page, "End");
    const last = Number((await text(page, "#of")).split(" ").pop());
    await at(page, last);
    await press(page, "ArrowRight");
    assert.match(await text(page, "#of"), new RegExp(`^Step ${last} of`), "nothing comes after the last");
    await press(page, "Home");
    await at(page, 1);
    await press(page, "Escape");
    await page.waitForURL(/\/board$/);
  }],
  ["a convention and a rate are chosen with the pointer, and buttons do what keys do", async (page) => {
    await page.getByLabel("Convention").selectOption("left_heart");
    await page.getByLabel("Heart rate, beats a minute").fill("60");
    await page.getByRole("button", { name: "Begin the build" }).click();
    await page.waitForURL(/convention=left_heart&rate=60/);
    await page.locator("#do-next").click();
    await at(page, 2);
    await page.locator("#do-cause").click();
    assert.match(await text(page, "#cause"), /^Why: /);
    await page.keyboard.press("Space");
    await at(page, 3);
    await page.locator("#do-list").click();
    await page.getByRole("button", { name: "Mitral valve closes" }).click();
    await page.waitForFunction(() => document.getElementById("sentence")?.textContent?.includes("mitral valve closes"));
    await page.locator("#do-hide").click();
    assert.ok(!(await page.locator("#buttons").isVisible()));
    await page.locator("#unhide").click();
    assert.ok(await page.locator("#buttons").isVisible());
  }],
  ["ask first: the question, then the answer, and the cause on demand", async (page, help) => {
    await open(page, help, "convention=first_course&step=4");
    await press(page, "ArrowRight", "a");
    await at(page, 4);
    assert.equal(await text(page, "#sentence"), "Where does the second heart sound go, and why?");
    assert.equal(await page.locator('#picture .landmark-label[data-landmark="s2_onset"]').count(), 0);
    await help.shoot(page, "board-question");
    await press(page, "c");
    assert.equal(await text(page, "#cause"), "", "the cause would be half the answer");
    await page.reload();
    assert.equal(await text(page, "#sentence"), "Where does the second heart sound go, and why?");
    await press(page, "ArrowRight");
    await at(page, 5);
    assert.match(await text(page, "#sentence"), /S2 begins between/);
    assert.match(await text(page, "#cause"), /^Why: .*aortic valve shuts/);
    await press(page, "ArrowRight");
    assert.match(await text(page, "#sentence"), /\?$/);
    await press(page, "ArrowLeft", "ArrowLeft");
    assert.match(await text(page, "#sentence"), /\?$/);
    assert.match(await text(page, "#of"), /^Step 5 of/);
  }],
  ["a number and Enter lead to any step", async (page, help) => {
    await open(page, help, "convention=left_heart");
    await press(page, "1", "2");
    assert.match(await text(page, "#typed"), /12$/);
    await press(page, "Enter");
    await at(page, 12);
    await press(page, "9", "9", "Enter");
    assert.match(await text(page, "#note"), /no step 99/);
    assert.match(await text(page, "#of"), /^Step 12 of/);
  }],
  ["the address says all, so that a reload loses nothing", async (page, help) => {
    await open(page, help, "convention=first_course&rate=70&rule=notch_with_s2");
    assert.match(await text(page, "#of"), /^Step 8 of/);
    await press(page, "h", "b", "c", "k");
    const before = [await text(page, "#sentence"), await text(page, "#cause"), await page.locator("#stage").getAttribute("class")];
    const url = page.url();
    for (const part of ["step=8", "labels=off", "ground=black", "cause=on", "buttons=off", "rate=70"]) assert.ok(url.includes(part), `${part} in ${url}`);
    await page.reload();
    assert.deepEqual([await text(page, "#sentence"), await text(page, "#cause"), await page.locator("#stage").getAttribute("class")], before);
    assert.equal(page.url(), url);
    assert.ok(!(await page.locator("#buttons").isVisible()));
    assert.equal(await page.locator("#picture .landmark-label text:visible").count(), 0);
  }],
  ["it is read from the last row, white on black too", async (page, help) => {
    for (const [convention, ground] of [["first_course", "white"], ["left_heart", "black"]]) {
      await open(page, help, `convention=${convention}&step=9&ground=${ground}`);
      await at(page, 9);
      const sizes = await page.evaluate(() => {
        const drawing = /** @type {SVGSVGElement} */ (document.querySelector("#picture svg"));
        const px = drawing.getBoundingClientRect().width / drawing.viewBox.baseVal.width;
        const size = (/** @type {Element} */ one) => Number(one.getAttribute("font-size")) * px;
        const labels = [...drawing.querySelectorAll(".landmark-label text, .trace-label text")].map(size);
        const sentence = parseFloat(getComputedStyle(/** @type {Element} */ (document.querySelector("#sentence"))).fontSize);
        const box = drawing.getBoundingClientRect();
        const ground = getComputedStyle(/** @type {Element} */ (drawing.querySelector(".paper rect"))).fill;
        return { label: Math.min(...labels), sentence, bottom: box.bottom, right: box.right, top: box.top, ground };
      });
      assert.ok(sizes.label >= 24, `labels are ${sizes.label} px`);
      assert.ok(sizes.sentence >= 32);
      assert.ok(sizes.top >= 0 && sizes.bottom <= 720 && sizes.right <= 1280, JSON.stringify(sizes));
      assert.equal(sizes.ground, ground === "black" ? "rgb(0, 0, 0)" : "rgb(255, 255, 255)");
      await help.shoot(page, `board-${ground}`);
    }
  }],
  ["what is new stands out by weight, and so do the lines it is drawn on", async (page, help) => {
    await open(page, help, "convention=first_course&step=5");
    await at(page, 5);
    const widths = await page.evaluate(() => {
      const width = (/** @type {string} */ selector) =>
        [...document.querySelectorAll(`#picture ${selector}`)].map((one) => parseFloat(getComputedStyle(one).strokeWidth));
      return {
        trace: width('.trace[data-channel="heart_sounds"] path'),
        used: width('.line.used path'),
        other: width('.line[data-landmark="r_peak"] path'),
      };
    });
    assert.ok(Math.max(...widths.trace) >= 1.8 * Math.min(...widths.trace), JSON.stringify(widths));
    assert.ok(Math.min(...widths.used) >= 2 * Math.max(...widths.other), JSON.stringify(widths));
  }],
  ["the next step is there before it is asked for", async (page, help) => {
    await open(page, help, "convention=left_heart");
    await page.waitForLoadState("networkidle");
    const times = await page.evaluate(async () => {
      const all = [];
      for (let step = 2; step <= 20; step++) {
        const start = performance.now();
        document.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight", bubbles: true }));
        while (document.getElementById("stage")?.dataset.drawn !== String(step)) await new Promise(requestAnimationFrame);
        all.push(performance.now() - start);
      }
      return all.sort((a, b) => a - b);
    });
    assert.equal(times.length, 19);
    console.log(`key to next step: ${times[9].toFixed(0)} ms median, ${times[18].toFixed(0)} ms at most`);
  }],
  ["it prints black on white, the figure and the words", async (page, help) => {
    await open(page, help, "convention=first_course&step=6&ground=black");
    await at(page, 6);
    await page.emulateMedia({ media: "print" });
    assert.ok(await page.locator("#picture svg").isVisible());
    assert.ok(!(await page.locator("#buttons").isVisible()));
    assert.equal(await page.locator("#picture .paper rect").evaluate((one) => getComputedStyle(one).fill), "rgb(255, 255, 255)");
    await page.emulateMedia({ media: "screen" });
  }],
  ["the list of keys is there, and keys do nothing behind it", async (page, help) => {
    await open(page, help, "convention=first_course&step=2");
    await page.keyboard.press("?");
    assert.ok(await page.locator("#keys").isVisible());
    await page.keyboard.press("ArrowRight");
    assert.match(await text(page, "#of"), /^Step 2 of/);
    await page.keyboard.press("Escape");
    await page.keyboard.press("ArrowRight");
    assert.match(await text(page, "#of"), /^Step 3 of/);
  }],
  ["it fits on a tablet held upright", async (page, help) => {
    await open(page, help, "convention=left_heart&step=20&cause=on");
    await page.setViewportSize({ width: 820, height: 1180 });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(wide <= 820, `${wide} px`);
    const [figure, words] = [await page.locator("#picture svg").boundingBox(), await page.locator("#cause").boundingBox()];
    assert.ok(figure && words && words.y + words.height <= figure.y);
  }],
];
