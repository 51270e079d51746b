// @ts-check
/** The room of recordings, used as a person uses it. */
import assert from "node:assert/strict";

export const room = "/recordings";

const DEMO = "/recordings?file=recording.csv";

export const addresses = [
  "/recordings",
  DEMO,
  `${DEMO}&at=37.000&span=8.000`,
  `${DEMO}&at=0.000&span=60.000`,
  `${DEMO}&condition=aortic_stenosis&convention=measured_physiology`,
  "/recordings?file=nowhere.csv",
];

/** @typedef {import("playwright-core").Page} Page */
/** @typedef {{address: string, shoot: (page: Page, name: string) => Promise<void>}} Help */

/**
 * Waits until the strip is drawn as wide as the window has room for: until then a place on the screen is soon
 * another's.
 * @param {Page} page
 */
const drawn = (page) => page.locator("html[data-drawn]").waitFor({ state: "attached" });

/**
 * The demo's recording, with everything found.
 * @param {Page} page
 * @param {Help} help
 * @param {string} [rest]
 */
async function open(page, help, rest = "") {
  await page.goto(`${help.address}${DEMO}${rest}`);
  await page.locator("#measured-title").waitFor();
  await page.locator("#strip-drawing .mark, #strip-drawing .trace").first().waitFor();
  await drawn(page);
  await page.locator("#who").fill("R. Amsel");
}

/** @param {Page} page how often a correction was kept or refused */
const kept = (page) => page.evaluate(() => Number(document.documentElement.dataset.kept ?? 0));

/**
 * Does `act` and waits until a correction is kept.
 * @param {Page} page
 * @param {() => Promise<void>} act
 */
async function corrected(page, act) {
  const before = await kept(page);
  await act();
  await page.waitForFunction((old) => Number(document.documentElement.dataset.kept ?? 0) > old, before);
  assert.equal(await page.locator("#correct-fault").textContent(), "");
}

/**
 * @param {Page} page
 * @param {string} landmark
 */
const times = (page, landmark) =>
  page.locator(`.mark[data-landmark=${landmark}][data-channel=ecg]`).evaluateAll((all) => all.map((one) => Number(/** @type {SVGElement} */ (one).dataset.time)));

/**
 * @param {Page} page
 * @param {RegExp} address
 */
const at = (page, address) => page.waitForURL(address);

/** A table without times: spikes like R peaks, and a wave after each. */
function table() {
  const rows = ["ECG,Pulse"];
  for (let index = 0; index < 250 * 20; index += 1) {
    const phase = (index % 230) / 230;
    const bump = (/** @type {number} */ place, /** @type {number} */ wide) => Math.exp(-(((phase - place) / wide) ** 2));
    rows.push(`${(bump(0.4, 0.012) + 0.25 * bump(0.7, 0.05)).toFixed(4)},${bump(0.75, 0.1).toFixed(4)}`);
  }
  return rows.join("\n");
}

/** @type {[string, (page: Page, help: Help) => Promise<void>][]} */
export const cases = [
  ["a table is chosen, its rate is asked for, and it opens", async (page, help) => {
    assert.match((await page.locator(".caution").textContent()) ?? "", /Recordings of people are private/);
    await page.locator("#files").setInputFiles({ name: "<b>walk.csv", mimeType: "text/csv", buffer: Buffer.from(table()) });
    await page.locator("#rate").waitFor();
    await help.shoot(page, "recordings-rate");
    await page.locator("#rate").fill("250");
    await page.getByRole("button", { name: "Open" }).click();
    await page.locator("#strip-drawing").waitFor();
    await page.locator("#measured-title").waitFor();
    assert.match(page.url(), /rate=250/);
  }],
  ["parts of a record without a header are told", async (page) => {
    const name = `part-${Date.now()}.dat`;
    await page.locator("#files").setInputFiles({ name, mimeType: "application/octet-stream", buffer: Buffer.from([1, 2, 3, 4]) });
    const said = page.locator("#brought");
    await said.getByText("choose its header").waitFor();
    await page.locator("#files").setInputFiles({ name: "program.exe", mimeType: "application/octet-stream", buffer: Buffer.from([1]) });
    await said.getByText("no kind of file").waitFor();
  }],
  ["the strip is scrolled and zoomed with the pointer, and the address keeps it", async (page, help) => {
    await open(page, help);
    await page.getByRole("button", { name: "Later" }).click();
    await at(page, /at=1\.250/);
    await page.locator("#strip").evaluate((strip) => strip.scrollIntoView({ block: "end" }));
    const box = await page.locator("#strip").boundingBox();
    assert.ok(box);
    // On the axis of time there is no landmark to take hold of.
    const y = box.y + box.height - 20;
    await page.mouse.move(box.x + 700, y);
    await page.mouse.down();
    await page.mouse.move(box.x + 300, y, { steps: 5 });
    await page.mouse.up();
    await page.waitForFunction(() => Number(new URLSearchParams(location.search).get("at")) > 2);
    await page.getByRole("button", { name: "Closer" }).click();
    await at(page, /span=3\.125/);
    await page.reload();
    assert.match(page.url(), /span=3\.125/);
    await page.getByRole("button", { name: "All of it" }).click();
    await at(page, /span=60\.000/);
    await page.locator("#closer").waitFor({ state: "visible" });
    await help.shoot(page, "recordings-all");
  }],
  ["a bad stretch is hatched and named", async (page, help) => {
    await open(page, help, "&at=38&span=8");
    assert.ok(await page.locator(".bad text", { hasText: "a flat line" }).isVisible());
    await help.shoot(page, "recordings-flat");
  }],
  ["a landmark is dragged, what follows is measured anew, and it is undone", async (page, help) => {
    await open(page, help, "&at=5&span=2");
    const before = await times(page, "t_end");
    const average = await page.locator("[data-slot=measured]").textContent();
    const mark = page.locator(".mark[data-landmark=t_end] .grip").first();
    const box = await mark.boundingBox();
    assert.ok(box);
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await corrected(page, async () => {
      await page.mouse.move(x, y);
      await page.mouse.down();
      await page.mouse.move(x + 60, y, { steps: 6 });
      await page.mouse.up();
    });
    const after = await times(page, "t_end");
    assert.ok(after[0] > before[0] + 0.05, `${before} → ${after}`);
    assert.equal(await page.locator(".mark[data-landmark=t_end].byhand").count(), 1);
    await page.waitForFunction((old) => document.querySelector("[data-slot=measured]")?.textContent !== old, average);
    assert.match((await page.locator("[data-slot=corrections]").first().textContent()) ?? "", /R\. Amsel/);
    await help.shoot(page, "recordings-corrected");
    await corrected(page, () => page.getByRole("button", { name: "Undo" }).click());
    assert.deepEqual(await times(page, "t_end"), before);
  }],
  ["a landmark is removed and added again", async (page, help) => {
    await open(page, help, "&at=5&span=1.2");
    const before = (await times(page, "t_peak")).length;
    await page.locator(".mark[data-landmark=t_peak]").first().locator(".grip").click();
    await corrected(page, () => page.getByRole("button", { name: "Remove it" }).click());
    assert.equal((await times(page, "t_peak")).length, before - 1);
    await page.locator("#what").selectOption("ecg:t_peak");
    await corrected(page, () => page.getByRole("button", { name: "Add" }).click());
    assert.equal((await times(page, "t_peak")).length, before);
    for (const _ of [1, 2]) await corrected(page, () => page.getByRole("button", { name: "Undo" }).click());
    assert.equal(await page.locator(".byhand").count(), 0);
  }],
  ["a false beat goes with its R peak, and a missed one comes with it", async (page, help) => {
    await open(page, help, "&at=5&span=3");
    const before = await times(page, "r_peak");
    const [, time] = before;
    const landmarks = await page.locator(".mark").count();
    await page.goto(`${help.address}${DEMO}&at=${(time - 1).toFixed(3)}&span=2`);
    await drawn(page);
    await page.locator("#who").fill("R. Amsel");
    const near = page.locator(`.mark[data-landmark=r_peak][data-time="${time}"]`);
    await near.focus();
    await corrected(page, () => page.keyboard.press("Delete"));
    assert.equal(await near.count(), 0);
    // Nobody clicked, so it comes into the middle of the strip.
    await page.locator("#what").focus();
    await page.locator("#what").selectOption("ecg:r_peak");
    await page.keyboard.press("Tab");
    await corrected(page, () => page.keyboard.press("Enter"));
    await page.locator(".mark.chosen[data-landmark=r_peak]:focus").waitFor({ state: "attached" });
    const chosen = page.locator(".mark.chosen");
    assert.ok(Math.abs(Number(await chosen.getAttribute("data-time")) - time) < 0.002);
    assert.ok((await page.locator(".mark").count()) > 10, "what else is found of it comes along");
    await corrected(page, () => page.keyboard.press("ArrowRight"));
    assert.ok(Math.abs(Number(await chosen.getAttribute("data-time")) - time - 1 / 500) < 0.002);
    for (const _ of [1, 2]) await corrected(page, () => page.keyboard.press("Control+z"));
    assert.equal(await near.count(), 0);

    const [left, right] = await page.locator("#strip-drawing").evaluate((svg) => {
      const { left, right } = /** @type {SVGElement} */ (svg).dataset;
      return [Number(left), Number(right)];
    });
    await page.locator("#strip").evaluate((strip) => strip.scrollIntoView({ block: "end" }));
    const box = await page.locator("#strip-drawing").boundingBox();
    assert.ok(box);
    // On the axis of time there is no landmark to take hold of.
    await page.mouse.click(box.x + (left + right) / 2, box.y + box.height - 8);
    await page.locator("#cursor").waitFor({ state: "attached" });
    await corrected(page, () => page.getByRole("button", { name: "Add" }).click());
    assert.ok(Math.abs(Number(await chosen.getAttribute("data-time")) - time) < 0.01);
    await help.shoot(page, "recordings-missed-beat");
    for (const _ of [1, 2]) await corrected(page, () => page.getByRole("button", { name: "Undo" }).click());
    await page.goto(`${help.address}${DEMO}&at=5&span=3`);
    assert.deepEqual(await times(page, "r_peak"), before);
    assert.equal(await page.locator(".mark").count(), landmarks);
  }],
  ["without a name nothing is corrected, and the name is asked for", async (page, help) => {
    await open(page, help, "&at=5&span=2");
    await page.locator("#who").fill("");
    const before = await times(page, "t_end");
    await page.locator(".mark[data-landmark=t_end]").first().focus();
    await page.keyboard.press("Delete");
    await page.locator("#correct-fault:not(:empty)").waitFor();
    await page.locator("#who:focus").waitFor();
    assert.deepEqual(await times(page, "t_end"), before);
  }],
  ["with the keyboard alone: scroll, zoom, choose, move, undo", async (page, help) => {
    await open(page, help);
    await page.locator("#strip").focus();
    await page.keyboard.press("End");
    await at(page, /at=55\.000/);
    await page.keyboard.press("Home");
    await page.keyboard.press("ArrowRight");
    await at(page, /at=1\.250/);
    await page.keyboard.press("+");
    await at(page, /span=3\.125/);
    await page.waitForFunction(() => document.querySelector("#strip-drawing")?.getAttribute("data-span") === "3.125");
    await page.keyboard.press("Enter");
    await page.locator(".mark.chosen").waitFor();
    for (let index = 0; index < 40; index += 1) {
      if ((await page.locator(".mark.chosen").getAttribute("data-landmark")) === "t_end") break;
      await page.keyboard.press("ArrowDown");
      await page.waitForTimeout(30);
    }
    const chosen = page.locator(".mark.chosen");
    assert.equal(await chosen.getAttribute("data-landmark"), "t_end");
    const before = Number(await chosen.getAttribute("data-time"));
    await corrected(page, async () => {
      await page.keyboard.press("ArrowRight");
      await page.keyboard.press("ArrowRight");
      await page.keyboard.press("Shift+ArrowRight");
    });
    assert.ok(Math.abs(Number(await chosen.getAttribute("data-time")) - before - 12 / 500) < 2e-4, "twelve samples");
    assert.equal(await page.evaluate(() => document.activeElement?.classList.contains("chosen")), true, "it keeps the focus");
    await corrected(page, () => page.keyboard.press("Control+z"));
    assert.ok(Math.abs(Number(await chosen.getAttribute("data-time")) - before) < 2e-4);
    await page.keyboard.press("Escape");
    assert.equal(await page.evaluate(() => document.activeElement?.id), "strip");
  }],
  ["another heart, another convention, another name for a signal", async (page, help) => {
    await open(page, help);
    await page.locator("#condition").selectOption("tachycardia");
    await page.locator("[data-slot=average]", { hasText: "130 computed" }).waitFor();
    await page.locator("#convention").selectOption("measured_physiology");
    await page.locator("[data-slot=rules]", { hasText: "The QRS complex lasts 70 to 114 ms." }).waitFor();
    await at(page, /condition=tachycardia.*convention=measured_physiology/);
    await page.getByLabel("Taken for: Finger pulse").selectOption("none");
    await at(page, /s3=none/);
    await page.getByText("You said so.").waitFor();
    // It stands below all that is measured.
    await page.locator("#worksheet").waitFor();
    assert.equal(await page.getByText("pulse arrival time").count(), 0);
    assert.equal(await page.locator("#condition").inputValue(), "tachycardia");
    await help.shoot(page, "recordings-results");
  }],
  ["numbers below nothing have a true minus sign", async (page, help) => {
    await open(page, help);
    const cells = await page.locator("[data-slot=average] td").allTextContents();
    assert.ok(cells.some((cell) => /^−\d/.test(cell)), cells.join(", "));
    assert.deepEqual((await page.locator("td").allTextContents()).filter((cell) => /(^|\s)-\d/.test(cell)), []);
  }],
  ["every file that is offered can be fetched", async (page, help) => {
    await open(page, help, "&at=10&span=6");
    await page.locator("#stretch").selectOption("visible");
    const links = await page.locator("a[data-file]").evaluateAll((all) => all.map((one) => /** @type {HTMLAnchorElement} */ (one).href));
    assert.ok(links.length >= 9 && links.some((link) => /worksheet\.pdf.*stretch=visible/.test(link)), links.join("\n"));
    for (const link of links) assert.equal((await page.request.get(link)).status(), 200, link);
  }],
  ["nothing lies beyond the side of the window", async (page, help) => {
    for (const [width, height] of [[1280, 720], [820, 1180], [400, 800]]) {
      await page.setViewportSize({ width, height });
      await open(page, help);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${wide} of ${width} px`);
    }
    await page.setViewportSize({ width: 1280, height: 720 });
  }],
];
