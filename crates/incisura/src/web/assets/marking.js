// @ts-check
/** Marking: scans are dropped and sent, work is followed, forms keep what was decided. */

import { Refused, ask, fill, follow, post, say, the } from "/common.js";

const words = (/** @type {unknown} */ error) => (error instanceof Refused ? error.message : String(error));

// Choices that show another table.
for (const choice of document.querySelectorAll("[data-go]")) {
  choice.addEventListener("change", () => {
    if (choice instanceof HTMLSelectElement || choice instanceof HTMLInputElement) choice.form?.requestSubmit();
  });
}

// Keys that follow a link.
document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || document.querySelector("dialog[open]")) return;
  const at = event.target;
  if (at instanceof Element && at.matches("input, textarea, select, [data-scroll]")) return;
  const link = document.querySelector(`[data-key="${CSS.escape(event.key.length === 1 ? event.key.toLowerCase() : event.key)}"]`);
  if (link instanceof HTMLAnchorElement) {
    event.preventDefault();
    link.click();
  }
});

// What is wider than the page can be moved by keyboard, too.
for (const wide of document.querySelectorAll(".scroll")) {
  if (wide instanceof HTMLElement && wide.scrollWidth > wide.clientWidth) wide.tabIndex = 0;
}

// Details that were opened stay so.
for (const one of document.querySelectorAll("details[data-keep]")) {
  if (!(one instanceof HTMLDetailsElement)) continue;
  const name = `open ${one.dataset.keep}`;
  const before = sessionStorage.getItem(name);
  if (before !== null) one.open = before === "yes";
  one.addEventListener("toggle", () => sessionStorage.setItem(name, one.open ? "yes" : "no"));
}

/** @param {HTMLFormElement} form */
const fields = (form) =>
  /** @type {Record<string, string>} */ (Object.fromEntries([...new FormData(form)].filter(([, value]) => typeof value === "string")));

/**
 * @param {HTMLFormElement} form
 * @param {string} text
 */
function blame(form, text) {
  const fault = form.querySelector(".fault");
  if (fault) fault.textContent = text;
}

// Forms that keep something: then the page shows how it is now, or another page is shown.
// Also those that are shown later.
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement) || form.dataset.post === undefined) return;
  event.preventDefault();
  blame(form, "");
  const button = form.querySelector("button");
  if (button) button.disabled = true;
  try {
    const who = form.querySelector("[data-who]");
    if (who instanceof HTMLInputElement) await post("/marking/who", { who: who.value });
    const answer = await (await post(form.action, fields(form))).text();
    const to = form.dataset.post === "answer" ? answer : form.dataset.post;
    if (to) location.assign(to);
    else location.reload();
  } catch (error) {
    blame(form, words(error));
    if (button) button.disabled = false;
  }
});

// Only decisions with a number ask for one.
for (const form of document.querySelectorAll(".overrule form")) {
  const decision = form.querySelector("[name=decision]");
  const number = form.querySelector("[name=number]");
  if (!(decision instanceof HTMLSelectElement) || !(number instanceof HTMLInputElement)) continue;
  const show = () => {
    const asked = decision.value === "points" || decision.value === "worth";
    number.required = asked;
    if (number.parentElement) number.parentElement.hidden = !asked;
  };
  decision.addEventListener("change", show);
  show();
}

/**
 * Follows reading and marking, and shows how far it is.
 * @param {string} job
 */
async function watch(job) {
  const working = the("#working", HTMLElement);
  const doing = the(".doing", HTMLElement, working);
  const bar = the("progress", HTMLProgressElement, working);
  working.hidden = false;
  return follow(job, (progress) => {
    const counted = progress.of === null ? "" : ` ${progress.done} / ${progress.of}`;
    if (progress.doing) doing.textContent = `${progress.doing}${counted}`;
    if (progress.of === null) bar.removeAttribute("value");
    else [bar.max, bar.value] = [progress.of, progress.done];
  }).finally(() => (working.hidden = true));
}

/**
 * @param {HTMLFormElement} form
 * @param {string} job
 */
async function watchFor(form, job) {
  const button = the("button", HTMLButtonElement, form);
  button.disabled = true;
  try {
    const said = await watch(job);
    sessionStorage.setItem("said", said);
    if (form.dataset.then) location.assign(form.dataset.then);
    else location.reload();
  } catch (error) {
    blame(form, words(error));
    button.disabled = false;
  }
}

for (const form of document.querySelectorAll('form[action="/marking/mark"]')) {
  if (!(form instanceof HTMLFormElement)) continue;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    blame(form, "");
    try {
      const job = await (await post(form.action, fields(form))).text();
      await watchFor(form, job);
    } catch (error) {
      blame(form, words(error));
    }
  });
  if (form.dataset.job) void watchFor(form, form.dataset.job);
}

const said = sessionStorage.getItem("said");
if (said && document.querySelector("#mark")) {
  sessionStorage.removeItem("said");
  const line = document.createElement("p");
  line.setAttribute("role", "status");
  line.textContent = said;
  the("#mark", HTMLElement).append(line);
  say(said);
}

const drop = document.querySelector("#drop");
if (drop instanceof HTMLElement) {
  const choose = the("#choose", HTMLInputElement);
  const sent = the("#sent", HTMLElement);
  const mark = the("#mark", HTMLFormElement);
  /** @type {Promise<void>} */
  let queue = Promise.resolve();

  /** @param {File} file */
  const send = async (file) => {
    const line = document.createElement("li");
    line.textContent = `${drop.dataset.sending} ${file.name} …`;
    sent.append(line);
    line.scrollIntoView({ block: "nearest" });
    try {
      const answer = await ask(`/marking/scans?name=${encodeURIComponent(file.name)}`, { method: "PUT", body: file });
      line.textContent = (await answer.json()).said;
    } catch (error) {
      line.className = "fault";
      line.textContent = words(error);
    }
  };

  /** @param {Iterable<File>} files */
  const take = (files) => {
    for (const file of files) queue = queue.then(() => send(file));
    queue = queue.then(async () => {
      const { test } = fields(mark);
      fill(await (await ask(`/marking/scans?test=${encodeURIComponent(test)}`)).text());
      const button = the("button", HTMLButtonElement, mark);
      button.disabled = false;
      button.classList.add("primary");
    }).catch((error) => blame(mark, words(error)));
  };

  choose.addEventListener("change", () => {
    take([...(choose.files ?? [])]);
    choose.value = "";
  });
  // A file that is dropped beside the place must not replace the page.
  for (const name of ["dragover", "drop"]) addEventListener(name, (event) => event.preventDefault());
  drop.addEventListener("dragover", () => drop.classList.add("over"));
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    drop.classList.remove("over");
    take([...(event.dataTransfer?.files ?? [])]);
  });
}

// Files are made before they are fetched, which may take a while.
const outputs = document.querySelector("#outputs");
if (outputs instanceof HTMLElement) {
  const told = the("#outputs-said", HTMLElement);
  outputs.addEventListener("click", async (event) => {
    const link = event.target;
    if (!(link instanceof HTMLAnchorElement)) return;
    event.preventDefault();
    told.textContent = `${outputs.dataset.writing} ${link.textContent} …`;
    try {
      const answer = await ask(link.href);
      const name = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") ?? "")?.[1] ?? "file";
      const place = URL.createObjectURL(await answer.blob());
      const made = document.createElement("a");
      made.href = place;
      made.download = name;
      made.click();
      setTimeout(() => URL.revokeObjectURL(place), 60_000);
      told.textContent = name;
    } catch (error) {
      told.textContent = words(error);
    }
  });
}
