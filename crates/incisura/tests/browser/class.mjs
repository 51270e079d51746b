// @ts-check
/** The class: what was missed, a slip, the board and a practice sheet. */
import assert from "node:assert/strict";

export const room = "/class?test=test-1.toml";
const TEST = "test-1.toml";
const SLIP = `/class?test=${TEST}&rule=notch_with_s2`;

export const addresses = ["/class", SLIP];

/** @typedef {import("playwright-core").Page} Page */

/**
 * Everything is read and marked, and the class is shown.
 * @param {Page} page
 * @param {{address: string}} help
 */
async function shown(page, help) {
  if ((await page.locator("#rules").count()) > 0) return;
  await page.goto(`${help.address}/marking?test=${TEST}`);
  const button = page.locator("#mark button");
  if (await button.isEnabled()) await button.click();
  await page.locator("table.drawings").waitFor({ timeout: 300_000 });
  await page.goto(`${help.address}/class?test=${TEST}`);
}

/** @type {[string, (page: Page, help: any) => Promise<void>][]} */
export const cases = [
  ["the class picture, the distributions and the counts are shown", async (page, help) => {
    await shown(page, help);
    assert.ok((await page.locator(".classroom .paper svg").count()) >= 4);
    for (const desc of await page.locator(".classroom .paper svg desc").allTextContents()) assert.ok(desc.length > 20);
    assert.ok((await page.locator(".missed li").count()) > 2);
    await help.shoot(page, "class");
  }],
  ["a slip is chosen by keyboard, and leads to the board", async (page, help) => {
    await shown(page, help);
    const first = page.locator(".missed a").first();
    const rule = await first.textContent();
    await first.focus();
    await page.keyboard.press("Enter");
    await page.waitForURL(/rule=/);
    assert.equal(await page.locator("#slip").textContent(), rule);
    await page.locator(".examples img").first().waitFor();
    await help.shoot(page, "slip");
    const board = await page.getByRole("link", { name: /on the board/ }).getAttribute("href");
    assert.match(board ?? "", /^\/board\?convention=rules\.toml&rule=\w+$/);
  }],
  ["a practice sheet is made for a slip", async (page, help) => {
    await shown(page, help);
    await page.goto(help.address + SLIP);
    await page.getByRole("button", { name: "Make a practice sheet" }).click();
    await page.waitForURL(/\/sheets\?file=practice-notch-with-s2\.toml/);
    assert.match(await page.locator('[data-at="title"]').inputValue(), /^Practice: /);
  }],
  ["pictures and counts are exported", async (page, help) => {
    await shown(page, help);
    for (const [link, name] of /** @type {[RegExp, RegExp][]} */ ([
      [/This picture/, /class\.svg$/], [/Rules and counts/, /rules\.csv$/],
    ])) {
      const [download] = await Promise.all([
        page.waitForEvent("download"),
        page.getByRole("link", { name: link }).first().click(),
      ]);
      assert.match(download.suggestedFilename(), name);
    }
  }],
];
