// @ts-check
/** The course: the way through the job, settings, other courses, keys, light and dark. */
import assert from "node:assert/strict";

export const room = "/";
export const addresses = ["/"];

/** @type {import("./run.mjs").Module["cases"]} */
export const cases = [
  ["the tour leads to every room, and each says what it is", async (page, help) => {
    const stops = await page.locator(".tour a").evaluateAll((all) => all.map((one) => one.getAttribute("href") ?? ""));
    const rooms = await page.locator(".masthead nav a").count();
    assert.equal(stops.length, rooms - 1);
    for (const stop of stops) {
      await page.goto(help.address + stop);
      assert.ok(((await page.title()) ?? "").endsWith("incisura"), stop);
      assert.equal(await page.locator('nav a[aria-current="page"]').count(), 1, stop);
      assert.equal(await page.locator("h1").count(), 1, stop);
    }
  }],
  ["everything made up is called invented", async (page) => {
    await page.getByText("Everything here is invented").waitFor();
    assert.equal(await page.locator(".masthead .tag").textContent(), "invented");
  }],
  ["settings keep themselves, and the spelling goes everywhere", async (page, help) => {
    const title = await page.locator("#title").inputValue();
    await page.locator("#title").fill("<b>Physiology</b>");
    await page.locator("#spelling").selectOption("EKG");
    await page.getByText("Saved.").waitFor();
    await page.goto(`${help.address}/heart`);
    assert.match((await page.locator(".coursename").textContent()) ?? "", /<b>Physiology<\/b>/);
    assert.equal(await page.getByText("EKG", { exact: true }).count(), 1);
    await page.goto(help.address);
    await page.locator("#title").fill(title);
    await page.locator("#spelling").selectOption("ECG");
    await page.getByText("Saved.").waitFor();
  }],
  ["what another window saved is not written over", async (page, help) => {
    const who = await page.locator("#who").inputValue();
    const other = await page.context().newPage();
    await other.goto(help.address);
    // One save after the other, without waiting, is no conflict.
    for (const name of ["A. Other", "An Other"]) {
      await other.locator("#who").fill(name);
      await other.waitForTimeout(450);
    }
    await other.getByText("Saved.").waitFor();
    assert.equal(await page.locator("#spelling option").allTextContents().then((all) => all.join()), "ECG,EKG");
    await page.locator("#title").fill("Mine");
    await page.locator("#settings-said").getByText("reload the page").waitFor();
    await page.reload();
    assert.equal(await page.locator("#who").inputValue(), "An Other");
    assert.notEqual(await page.locator("#title").inputValue(), "Mine");
    await page.locator("#who").fill(who);
    await page.getByText("Saved.").waitFor();
    await other.close();
  }],
  ["on paper there is nothing to press or to fill in", async (page, help) => {
    await page.emulateMedia({ media: "print" });
    const controls = page.locator("main :is(button, select, textarea, input, a.button, summary.button)");
    for (const path of ["/", "/conventions", "/conventions?file=rules.toml", "/conventions?program=left_heart", "/sheets", "/sheets?file=test-1.toml"]) {
      await page.goto(help.address + path);
      const seen = await controls.evaluateAll((all) => all.filter((one) => one.checkVisibility()).map((one) => one.outerHTML.slice(0, 80)));
      assert.deepEqual(seen, [], path);
      assert.ok(await page.locator("h1").isVisible(), path);
    }
    await page.emulateMedia({ media: "screen" });
  }],
  ["by keyboard: to the list of keys, to a room, and back", async (page) => {
    await page.keyboard.press("?");
    await page.locator("#keys").waitFor({ state: "visible" });
    await page.keyboard.press("Escape");
    await page.locator("#keys").waitFor({ state: "hidden" });
    await page.keyboard.press("Alt+2");
    await page.waitForURL(/\/heart/);
    await page.keyboard.press("Alt+1");
    await page.waitForURL(/\/$/);
    await page.keyboard.press("Tab");
    assert.equal(await page.evaluate(() => document.activeElement?.className), "skip");
  }],
  ["light and dark are chosen and stay chosen", async (page) => {
    const table = () => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    const before = await table();
    await page.locator("#theme-button").click();
    assert.notEqual(await table(), before);
    const chosen = await table();
    await page.reload();
    assert.equal(await table(), chosen);
    await page.locator("#theme-button").click();
    assert.equal(await table(), before);
  }],
  ["a new course is made, says what is to be done, and the invented one opens again", async (page, help) => {
    await page.locator("#course-name").fill(`Physiology ${Date.now()}`);
    await page.getByRole("button", { name: "Make it and open it" }).press("Enter");
    await page.getByRole("heading", { level: 1, name: /^Physiology / }).waitFor();
    for (const room of await page.locator(".masthead nav a").evaluateAll((all) => all.map((one) => one.getAttribute("href") ?? ""))) {
      const answer = await page.goto(help.address + room);
      assert.equal(answer?.status(), 200, room);
      await help.shoot(page, `empty${room.replaceAll("/", "-")}`);
    }
    await page.goto(help.address);
    await page.getByRole("button", { name: "Open Anatomy and Physiology I" }).press("Enter");
    await page.getByText("Everything here is invented").waitFor();
  }],
];
