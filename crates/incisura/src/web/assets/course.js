// @ts-check
/** The course's page: settings keep themselves, and work under way is followed. */

import { Refused, follow, post, the, whenCalm } from "/common.js";

const settings = the("#settings", HTMLFormElement);
const said = the("#settings-said", HTMLElement);

/** What is saved is saved one after the other, each time to the version that the last one made. */
let turn = Promise.resolve();

const send = async () => {
  const fields = /** @type {Record<string, string>} */ (Object.fromEntries(new FormData(settings)));
  try {
    const version = await (await post(settings.action, fields)).json();
    for (const seen of document.getElementsByName("seen")) {
      if (seen instanceof HTMLInputElement) seen.value = version;
    }
    said.textContent = said.dataset.saved ?? "";
    the("#undo", HTMLButtonElement).disabled = false;
  } catch (error) {
    said.textContent = error instanceof Refused ? error.message : String(error);
  }
};
const save = whenCalm(() => (turn = turn.then(send)));

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
