// @ts-check
/** The room of the sheets, used as a person uses it. */
import assert from "node:assert/strict";

export const room = "/sheets";
export const addresses = [
  "/sheets",
  "/sheets?file=test-1.toml",
  "/sheets?file=test-1.toml&document=key.pdf",
  "/sheets?file=test-1.toml&show=print",
  "/sheets?file=test-1.toml&as=text",
];

/** @typedef {import("playwright-core").Page} Page */

let made = 0;

/** @param {Page} page */
async function begin(page) {
  const title = `Quiz ${Date.now()} ${++made}`;
  await page.getByLabel("Its title, which is printed").fill(title);
  await page.getByRole("button", { name: "Begin it" }).click();
  await page.waitForURL(/file=/);
  await drawn(page);
  return title;
}

/** @param {Page} page */
const drawn = (page) => page.waitForFunction(() => document.querySelector("#pages")?.getAttribute("aria-busy") === "false");

/** @param {Page} page @param {RegExp} words */
const saved = (page, words = /Saved/) => page.waitForFunction((source) => new RegExp(source).test(document.querySelector("#saved")?.textContent ?? ""), words.source);

/** @param {Page} page @param {string} name @param {string} text */
const list = (page, name, text) => page.locator("#roster-file").setInputFiles({ name, mimeType: "text/csv", buffer: Buffer.from(text) });

/** @type {[string, (page: Page, help: {address: string, shoot: (page: Page, name: string) => Promise<void>}) => Promise<void>][]} */
export const cases = [
  ["a test is begun, changed, and its pages follow", async (page, help) => {
    const title = await begin(page);
    assert.equal(await page.locator(".sheetpage svg").count(), 2);
    await page.locator('[data-at="forms"]').fill("3");
    await page.waitForFunction(() => document.querySelectorAll(".sheetpage svg").length === 3);
    await page.locator('[data-at="traces"]').nth(1).selectOption({ label: "printed" });
    await saved(page);
    await page.getByRole("button", { name: "Text", exact: true }).click();
    assert.match(await page.locator("#text").inputValue(), /given = \["ecg", "heart_sounds"\]/);
    await help.shoot(page, "sheets-text");
    await page.getByRole("button", { name: "Forms", exact: true }).click();
    await page.locator("#document").selectOption("key.pdf");
    await drawn(page);
    await page.reload();
    await drawn(page);
    assert.equal(await page.locator("#document").inputValue(), "key.pdf");
    await help.shoot(page, "sheets-key");
    await page.getByRole("link", { name: "All tests" }).click();
    await page.getByRole("link", { name: title, exact: true }).waitFor();
  }],
  ["pages are shown at true size", async (page) => {
    await begin(page);
    await page.locator("#size").selectOption("true");
    const width = await page.locator(".sheetpage svg").first().evaluate((svg) => svg.getBoundingClientRect().width);
    assert.ok(Math.abs(width - (279.4 * 96) / 25.4) < 1, String(width));
    assert.match(page.url(), /size=true/);
  }],
  ["a fault stands beside its field, and the last good pages stay", async (page, help) => {
    await begin(page);
    await page.locator('[data-at="heart.rate_bpm"]').first().fill("900");
    await saved(page, /draft/);
    assert.match(await page.locator(".range + .fault.placed").textContent() ?? "", /to 200/);
    assert.equal(await page.locator('[data-at="heart.rate_bpm"]').first().getAttribute("aria-invalid"), "true");
    await page.waitForFunction(() => document.querySelector("#pages")?.textContent?.includes("last one without"));
    await help.shoot(page, "sheets-fault");
    await page.locator('[data-at="heart.rate_bpm"]').first().fill("60");
    await saved(page);
  }],
  ["it is printed, its PDFs can be fetched, and then it is locked", async (page, help) => {
    await begin(page);
    await page.getByRole("button", { name: "Print it" }).click();
    if (await page.locator('input[name="class"]').count()) await page.locator('input[name="class"]').uncheck();
    await page.locator("#spare").fill("3");
    await page.getByRole("button", { name: "Make the PDFs" }).click();
    await page.waitForFunction(() => document.querySelector("#print-said")?.textContent?.includes("PDFs are made"), null, { timeout: 120_000 });
    await help.shoot(page, "sheets-printed");
    for (const link of await page.locator('[data-slot="prints"] a[target]').all()) {
      const response = await page.request.get(help.address + (await link.getAttribute("href")));
      assert.equal(response.headers()["content-type"], "application/pdf");
    }
    await page.reload();
    assert.ok(await page.locator("#printed-note").isVisible());
    assert.ok(await page.locator('[data-at="title"]').isDisabled());
    await page.getByRole("button", { name: "Change it nevertheless" }).click();
    await page.locator('[data-at="course"]').fill("Another course");
    await saved(page);
  }],
  ["a class list is seen, taken and put back", async (page, help) => {
    await list(page, "class.csv", "Last name;First name;Section;ID\nBrook;Ada;1;17\n;;2;9\nCarr;Ben;1;18\n");
    await page.getByText("What was understood").waitFor();
    const words = await page.locator("#understood").textContent() ?? "";
    for (const part of ["Ada Brook", "semicolons", "not used", "line 3"]) assert.ok(words.includes(part), part);
    await help.shoot(page, "sheets-class-list");
    await page.getByRole("button", { name: "Take this as the class list" }).click();
    await page.getByText("2 students").waitFor();
    await page.getByRole("button", { name: "Put the earlier list back" }).click();
    await page.waitForFunction(() => !document.querySelector('[data-slot="roster"]')?.textContent?.includes("2 students"));
    await list(page, "class.csv", "mark\n12\n");
    await page.waitForFunction(() => document.querySelector("#roster-said")?.textContent?.includes("no column is headed"));
  }],
  ["by keyboard alone: begun, changed, undone, another document, printed", async (page) => {
    await page.getByLabel("Its title, which is printed").focus();
    await page.keyboard.type(`Keys ${Date.now()}`);
    await page.keyboard.press("Tab");
    await page.keyboard.press("Tab");
    await page.keyboard.press("Enter");
    await page.waitForURL(/file=/);
    await drawn(page);
    await page.locator('[data-at="course"]').focus();
    await page.keyboard.press("ControlOrMeta+A");
    await page.keyboard.type("Typed course");
    await saved(page);
    await page.locator("#undo").focus();
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => !(/** @type {HTMLButtonElement} */ (document.querySelector("#redo")).disabled));
    assert.notEqual(await page.locator('[data-at="course"]').inputValue(), "Typed course");
    await page.locator("#document").focus();
    await page.keyboard.press("ArrowDown");
    await page.waitForURL(/document=key/);
    await page.locator('button[data-show="print"]').focus();
    await page.keyboard.press("Enter");
    await page.locator("#print button").focus();
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.querySelector("#print-said")?.textContent?.includes("PDFs are made"), null, { timeout: 120_000 });
  }],
];
