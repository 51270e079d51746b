// @ts-check
/** The room of the conventions, used as a person uses it. */
import assert from "node:assert/strict";

export const room = "/conventions";
export const addresses = [
  "/conventions",
  "/conventions?program=left_heart",
  "/conventions?file=rules.toml",
  "/conventions?file=rules.toml&as=text",
  "/conventions?file=rules.toml&show=comparison",
  "/conventions?file=rules.toml&show=build",
];

/** @typedef {import("playwright-core").Page} Page */

let copies = 0;

/**
 * A copy of the first course of its own, being edited.
 * @param {Page} page
 */
async function copy(page) {
  const title = `Rules ${Date.now()} ${++copies}`;
  const card = page.locator(".listing li", { hasText: "First course: ECG" }).last();
  await card.getByText("Copy into the course").first().click();
  await card.getByLabel("The copy is called").fill(title);
  await card.locator("form button").click();
  await page.waitForURL(/file=/);
  await looked(page);
  return title;
}

/** @param {Page} page */
const looked = (page) => page.waitForFunction(() => document.querySelector('[data-slot="consistency"]')?.textContent?.trim());

/** @param {Page} page @param {RegExp} words */
const saved = (page, words = /Saved/) => page.waitForFunction((source) => new RegExp(source).test(document.querySelector("#saved")?.textContent ?? ""), words.source);

/** @param {Page} page @param {string} words */
const says = (page, words) => page.waitForFunction((text) => document.querySelector('[data-slot="consistency"]')?.textContent?.includes(text), words);

/**
 * Types in the place of what is first found in the text.
 * @param {Page} page @param {string} old @param {string} typed
 */
async function retype(page, old, typed) {
  await page.locator("#text").evaluate((area, sought) => {
    if (!(area instanceof HTMLTextAreaElement)) return;
    const start = area.value.indexOf(sought);
    area.focus();
    area.setSelectionRange(start, start + sought.length);
  }, old);
  await page.keyboard.type(typed);
}

/** @type {[string, (page: Page, help: {address: string, shoot: (page: Page, name: string) => Promise<void>}) => Promise<void>][]} */
export const cases = [
  ["a convention is read, with its figure and comparison", async (page, help) => {
    await page.getByRole("link", { name: "Left heart: pressures, volume, valves and four sounds", exact: true }).click();
    await looked(page);
    await page.locator('[data-shown="figure"] svg').waitFor();
    await page.getByRole("button", { name: "Compared" }).click();
    await page.getByText("Sources").first().click();
    assert.match(page.url(), /show=comparison/);
    await page.reload();
    await page.locator(".compared tbody tr").first().waitFor();
    await help.shoot(page, "conventions-compared");
  }],
  ["a copy is edited as forms, and the text follows", async (page, help) => {
    await copy(page);
    await page.locator("#rules-4 summary").first().click();
    await page.locator('[data-at="rules.4.text"]').fill("S1 begins on the R line.");
    await saved(page);
    await page.locator('[data-at="rules.4.relation"]').selectOption("after");
    await page.locator('[data-at="rules.4.by_ms"]').first().waitFor();
    await page.locator('[data-at="rules.4.by_ms"]').first().fill("0");
    await page.locator('[data-at="rules.4.by_ms"]').last().fill("40");
    await saved(page);
    await page.getByRole("button", { name: "Text", exact: true }).click();
    const text = await page.locator("#text").inputValue();
    assert.ok(text.includes('after = "r_peak"\n') && text.includes("by_ms = [0, 40]") && text.includes("# of the largest sound"), text);
    assert.match(await page.locator("#rules-4 summary").first().textContent() ?? "", /on the R line/);
    await help.shoot(page, "conventions-text");
  }],
  ["a fault is told at its line, kept over a reload, and mended", async (page) => {
    await copy(page);
    await page.getByRole("button", { name: "Text", exact: true }).click();
    await retype(page, 't_peak"', 't_paek"');
    await saved(page, /draft/);
    await page.locator("#faults li").waitFor();
    assert.match(await page.locator("#faults").textContent() ?? "", /line \d+.*did you mean “t_peak”.*t_paek/s);
    await page.reload();
    assert.match(await page.locator("#text").inputValue(), /t_paek/);
    await page.locator("#faults button").click();
    assert.match(await page.evaluate(() => document.getSelection()?.toString() ?? ""), /t_paek/);
    await retype(page, "t_paek", "t_peak");
    await saved(page);
    assert.equal(await page.locator("#faults li").count(), 0);
  }],
  ["a contradiction names the fewest rules and leads to them", async (page, help) => {
    await copy(page);
    await page.locator("#rules-7 summary").first().click();
    await page.locator('[data-at="rules.7.relation"]').selectOption("before");
    await page.locator('[data-at="rules.7.before"]').selectOption("r_peak");
    await says(page, "They cannot all hold");
    await help.shoot(page, "conventions-contradiction");
    await page.locator('.conflict a[data-rule="7"]').first().click();
    assert.equal(await page.evaluate(() => document.activeElement?.id), "rules-7");
    await page.getByRole("button", { name: "Undo" }).click();
    await says(page, "They can all hold");
    await page.getByRole("button", { name: "Redo" }).click();
    await says(page, "They cannot all hold");
  }],
  ["what was changed elsewhere is not written over unasked", async (page, help) => {
    await copy(page);
    const other = await page.context().newPage();
    await other.goto(page.url());
    await other.locator('[data-at="title"]').fill("Changed elsewhere");
    await saved(other);
    await page.locator('[data-at="about"]').fill("Mine.");
    await page.locator("#conflict:not([hidden])").waitFor();
    await help.shoot(page, "conventions-conflict");
    await page.getByRole("button", { name: "Keep mine" }).click();
    await saved(page);
    assert.equal(await page.locator("#title").textContent(), "Changed elsewhere");
    await other.close();
  }],
  ["removed and brought back", async (page, help) => {
    const title = await copy(page);
    await page.goto(help.address + room);
    await page.getByRole("button", { name: `Remove ${title}` }).click();
    await page.locator(".removed summary").click();
    await page.getByRole("button", { name: `Bring back ${title}` }).click();
    await page.getByRole("link", { name: title, exact: true }).waitFor();
  }],
  ["by keyboard alone: copied, a rule changed, moved, added and undone", async (page) => {
    await page.locator(".listing li", { hasText: "Measured physiology" }).locator("summary").focus();
    await page.keyboard.press("Enter");
    await page.keyboard.press("Tab");
    await page.keyboard.press("ControlOrMeta+A");
    await page.keyboard.type(`Keys ${Date.now()}`);
    await page.keyboard.press("Enter");
    await page.waitForURL(/file=/);
    await looked(page);
    const first = await page.locator("#rules-0").getAttribute("aria-label");
    await page.locator("#rules-0 summary").first().focus();
    await page.keyboard.press("Enter");
    await page.keyboard.press("Tab");
    await page.keyboard.press("Alt+ArrowDown");
    await page.waitForFunction((id) => document.querySelector("#rules-1")?.getAttribute("aria-label") === id, first);
    await page.locator('#rules-1 [data-at="rules.1.text"]').focus();
    await page.keyboard.press("ControlOrMeta+A");
    await page.keyboard.type("Typed.");
    await saved(page);
    await page.locator('button[data-add="rules"]').last().focus();
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.activeElement?.matches("li.rule:last-child"));
    await page.keyboard.press("ControlOrMeta+z");
    await page.waitForFunction(() => !(/** @type {HTMLButtonElement} */ (document.querySelector("#redo")).disabled));
    assert.match(await page.locator("#rules-1 summary").first().textContent() ?? "", /Typed\./);
  }],
];
