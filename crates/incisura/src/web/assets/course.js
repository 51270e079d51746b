// @ts-check
/** The course's page: settings keep themselves, and work under way is followed. */

import { Refused, follow, post, the, whenCalm } from "/common.js";

const settings = the("#settings", HTMLFormElement);
const said = the("#settings-said", HTMLElement);

const save = whenCalm(async () => {
  const fields = /** @type {Record<string, string>} */ (Object.fromEntries(new FormData(settings)));
  try {
    await post(settings.action, fields);
    said.textContent = said.dataset.saved ?? "";
    the("#undo", HTMLButtonElement).disabled = false;
  } catch (error) {
    said.textContent = error instanceof Refused ? error.message : String(error);
  }
});

settings.addEventListener("input", () => {
  said.textContent = "";
  save();
});
settings.addEventListener("submit", (event) => event.preventDefault());

const making = document.querySelector("#making");
if (making instanceof HTMLElement && making.dataset.job) {
  const bar = the("progress", HTMLProgressElement, making);
  const doing = the(".doing", HTMLElement, making);
  follow(making.dataset.job, (progress) => {
    doing.textContent = progress.doing;
    if (progress.of === null) bar.removeAttribute("value");
    else [bar.max, bar.value] = [progress.of, progress.done];
  }).then(
    () => location.reload(),
    (error) => (doing.textContent = error instanceof Refused ? error.message : String(error)),
  );
}
