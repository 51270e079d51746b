// @ts-check
/** Marking, from dropping a scan to exporting the gradebook; review with the keyboard only. */
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";

export const room = "/marking?test=test-1.toml";
const TEST = "test-1.toml";
const REVIEW = `/marking/review?test=${TEST}`;

export const addresses = [
  "/marking",
  `/marking?test=${TEST}&status=unreadable`,
  `/marking?test=${TEST}&names=hidden&sort=points`,
  `/marking/sheet?test=${TEST}&sheet=1`,
  REVIEW,
  `/marking/changes?test=${TEST}`,
];

/** @typedef {import("playwright-core").Page} Page */

/**
 * Everything is read and marked; a first time that takes a while.
 * @param {Page} page
 */
async function marked(page) {
  if ((await page.locator("table.drawings").count()) > 0) return;
  const button = page.locator("#mark button");
  if (await button.isEnabled()) await button.click();
  await page.locator("table.drawings").waitFor({ timeout: 120_000 });
}

/**
 * The review, after the name was given once.
 * @param {Page} page
 * @param {{address: string}} help
 */
async function review(page, help) {
  await marked(page);
  await page.goto(help.address + REVIEW);
  const name = page.getByLabel("Your name");
  if (await name.isVisible()) {
    await name.fill("R. Amsel");
    await page.getByRole("button", { name: "Begin" }).click();
  }
  await page.locator("#progress").filter({ hasText: /of/ }).waitFor();
}

/** @param {Page} page */
const progress = async (page) => (await page.locator("#progress").textContent()) ?? "";
/** @param {Page} page */
const position = async (page) => Number(/^\d+/.exec(await progress(page))?.[0]);
/** @param {Page} page */
const answered = async (page) => Number(/(\d+) answered/.exec(await progress(page))?.[1]);
/** @param {Page} page */
const kept = (page) => page.locator("#kept").filter({ hasText: "kept" }).waitFor();

/** @type {[string, (page: Page, help: any) => Promise<void>][]} */
export const cases = [
  ["scans that wait are read and marked, with progress", async (page, help) => {
    await help.shoot(page, "marking-before");
    await marked(page);
    assert.ok((await page.locator("table.drawings tbody tr").count()) >= 20);
    assert.match((await page.locator(".remarks").textContent()) ?? "", /belongs to another test/);
    await help.shoot(page, "marking");
  }],
  ["a dropped scan is taken in once, and what is none is refused in words", async (page) => {
    await marked(page);
    const drop = (/** @type {string} */ name, /** @type {string} */ text) =>
      page.evaluate(([name, text]) => {
        const data = new DataTransfer();
        data.items.add(new File([text], name, { type: "application/pdf" }));
        document.querySelector("#drop")?.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
      }, [name, text]);
    await drop("<b>notes</b>.pdf", "no scan at all");
    await page.locator("#sent .fault").filter({ hasText: "neither a PDF nor" }).waitFor();
    assert.equal(await page.locator("#sent b").count(), 0);
    // The page of a sheet as it was kept is a picture of a page: a scan as good as any.
    const picture = await (await page.request.get(new URL(`/marking/page.png?test=${TEST}&sheet=1&page=1`, page.url()).href)).body();
    const choose = page.locator("#choose");
    await choose.setInputFiles({ name: "again.png", mimeType: "image/png", buffer: picture });
    await page.locator("#sent li").filter({ hasText: /again\.png/ }).waitFor();
    await choose.setInputFiles({ name: "again.png", mimeType: "image/png", buffer: picture });
    await page.locator("#sent li").filter({ hasText: "is there already" }).waitFor();
    await page.locator("#mark button").click();
    await page.locator("#mark [role=status]").filter({ hasText: "sheets marked" }).waitFor({ timeout: 120_000 });
    assert.match((await page.locator(".remarks").textContent()) ?? "", /again\.png/);
  }],
  ["review with the keyboard only: answers, undo, the whole page, and going on after a reload", async (page, help) => {
    await review(page, help);
    await page.keyboard.press("f");
    const before = await answered(page);
    const begun = await position(page);
    await page.locator("#crop img, #grid:not([hidden]) img").first().waitFor();
    await help.shoot(page, "review");
    await page.keyboard.press("p");
    assert.ok(await page.locator("#whole").isVisible());
    await page.keyboard.press("p");
    assert.ok(await page.locator("#whole").isHidden());
    await page.keyboard.press("m");
    await page.keyboard.press("n");
    await page.keyboard.press("h");
    await kept(page);
    assert.equal(await answered(page), before + 3);
    await page.keyboard.press("u");
    await page.locator("#progress").filter({ hasText: `${before + 2} answered` }).waitFor();
    await kept(page);
    const stopped = await position(page);
    assert.ok(stopped > begun);
    await page.reload();
    await page.locator("#progress").filter({ hasText: /of/ }).waitFor();
    assert.equal(await position(page), stopped, "it goes on where it stopped");
    assert.equal(await answered(page), before + 2);
    await page.keyboard.press("ArrowLeft");
    assert.equal(await position(page), stopped - 1);
    await page.keyboard.press("s");
    assert.equal(await position(page), stopped);
  }],
  ["labels are judged across all drawings, by keys", async (page, help) => {
    await review(page, help);
    await page.locator("#rulelist button").filter({ hasText: "first sound is labelled" }).focus();
    await page.keyboard.press("Enter");
    const grid = page.locator("#grid");
    await grid.locator("img").first().waitFor();
    await help.shoot(page, "labels");
    const cells = await grid.locator(".cell").count();
    assert.ok(cells >= 20);
    await page.keyboard.press("n");
    await page.keyboard.press("ArrowRight");
    await page.keyboard.press("h");
    await kept(page);
    assert.equal(await grid.locator('.cell[data-decided="not met"]').count(), 1);
    assert.equal(await grid.locator('.cell[data-decided="half"]').count(), 1);
    await page.keyboard.press("a");
    await kept(page);
    await page.locator("#rulelist button").filter({ hasText: "first sound is labelled" }).filter({ hasText: `${cells} / ${cells}` }).waitFor();
  }],
  ["a drawing is explained, overruled with a reason, and that is taken back", async (page, help) => {
    await marked(page);
    await page.getByRole("link", { name: "Sheet 2", exact: true }).click();
    await page.waitForURL(/sheet=2/);
    await page.locator(".found svg").waitFor();
    await help.shoot(page, "drawing");
    const total = await page.locator(".total").textContent();
    await page.locator(".overrule summary").first().focus();
    await page.keyboard.press("Enter");
    const form = page.locator(".overrule form").first();
    await form.getByLabel("Decision").selectOption("waive");
    const who = form.getByLabel("Your name");
    if (await who.isVisible()) await who.fill("R. Amsel");
    await form.getByRole("button", { name: "Keep" }).click();
    await form.locator(".fault").filter({ hasText: "needs a reason" }).waitFor();
    await form.getByLabel("Reason").fill("was not taught yet");
    await form.getByRole("button", { name: "Keep" }).click();
    await page.locator("table").filter({ hasText: "was not taught yet" }).waitFor();
    await page.waitForLoadState();
    assert.notEqual(await page.locator(".total").textContent(), total);
    await page.locator("tr").filter({ hasText: "was not taught yet" }).getByRole("button", { name: "Take back" }).click();
    await page.getByText("taken back").first().waitFor();
    await page.waitForLoadState();
    assert.equal(await page.locator(".total").textContent(), total);
    await page.keyboard.press("ArrowRight");
    await page.waitForURL(/sheet=3/);
    await page.keyboard.press("t");
    await page.locator("table.drawings").waitFor();
  }],
  ["which scan of a page counts is chosen by keys; one is set aside and brought back", async (page, help) => {
    await marked(page);
    // The seventh sheet was copied and photographed.
    await page.getByRole("link", { name: "Sheet 7", exact: true }).click();
    await page.waitForURL(/sheet=7/);
    const scans = page.locator("section[aria-labelledby=scans]");
    const cards = scans.locator("li");
    await scans.getByText("scanned more than once").waitFor();
    assert.equal(await cards.count(), 2);
    const photo = /photo-\d+\.jpg/.exec((await cards.last().textContent()) ?? "")?.[0] ?? "";
    const name = async (/** @type {import("playwright-core").Locator} */ within) => {
      const who = within.getByLabel("Your name").first();
      if (await who.isVisible()) await who.fill("R. Amsel");
    };
    await cards.last().getByText("Let this one count").first().focus();
    await page.keyboard.press("Enter");
    await name(cards.last());
    await cards.last().getByLabel("Reason").first().focus();
    await page.keyboard.type("sharper");
    await page.keyboard.press("Enter");
    await cards.first().filter({ hasText: photo }).waitFor();
    const chosen = page.locator("tr").filter({ hasText: "sharper" });
    assert.match((await chosen.textContent()) ?? "", /R\. Amsel.*photo-\d+\.jpg, page 1: counts/);
    await help.shoot(page, "scans");

    // Its file as a whole is set aside and brought back in the list of files, by pointer.
    await page.goto(help.address + room);
    await page.getByText("File by file").click();
    const row = page.locator("table.scans tr").filter({ hasText: photo });
    const say = async (/** @type {string} */ what) => {
      await row.locator("summary").filter({ hasText: what }).click();
      await row.getByRole("button", { name: what }).click();
    };
    await say("Set aside");
    await page.locator(".counts").filter({ hasText: "1 set aside" }).waitFor();
    await page.locator(".remarks").filter({ hasText: `${photo}, page 1: set aside by` }).waitFor();
    await page.waitForLoadState();
    await say("Bring back");
    await page.locator(".counts").filter({ hasText: /^(?!.*set aside)/ }).first().waitFor();
    await page.waitForLoadState();

    await page.getByRole("link", { name: "Sheet 7", exact: true }).click();
    await page.waitForURL(/sheet=7/);
    await chosen.getByRole("button", { name: "Take back" }).click();
    await cards.first().filter({ hasText: "copier-" }).waitFor();
  }],
  ["the table is filtered and sorted, and its address keeps that", async (page) => {
    await marked(page);
    await page.getByLabel("Hide names").check();
    await page.waitForURL(/names=hidden/);
    assert.equal(await page.getByText("Adaeze Nwosu").count(), 0);
    await page.getByLabel("Sort by").selectOption("points");
    await page.waitForURL(/sort=points/);
    await page.reload();
    const points = (await page.locator("table.drawings tbody td:nth-child(5)").allTextContents()).map(parseFloat);
    assert.deepEqual(points, [...points].sort((a, b) => a - b));
  }],
  ["the gradebook is exported", async (page) => {
    await marked(page);
    const [download] = await Promise.all([
      page.waitForEvent("download"),
      page.getByRole("link", { name: /Gradebook/ }).click(),
    ]);
    assert.equal(download.suggestedFilename(), "test-1-gradebook.csv");
    const text = await readFile(await download.path(), "utf8");
    assert.match(text, /^name,id,sheet,form,points/);
    assert.ok(text.trim().split("\n").length > 20);
  }],
];
