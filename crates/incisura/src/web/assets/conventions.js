// @ts-check
/** The conventions' page: what is found out about the rules follows each change. */

import { ask, fill, the } from "/common.js";

const room = document.querySelector(".editing[data-view]");
if (room instanceof HTMLElement) look(room);

/** @param {HTMLElement} room */
function look(room) {
  const against = the("#against", HTMLSelectElement);
  let wanted = 0;
  let asking = false;

  /** Asks until what is shown is of the newest text. */
  async function refresh() {
    wanted += 1;
    if (asking) return;
    asking = true;
    let shown = 0;
    while (shown !== wanted) {
      shown = wanted;
      try {
        fill(await (await ask(`${room.dataset.view}&against=${encodeURIComponent(against.value)}`)).text());
      } catch (error) {
        const slot = the('[data-slot="consistency"]', HTMLElement);
        slot.textContent = error instanceof Error ? error.message : String(error);
      }
    }
    asking = false;
    document.documentElement.dataset.looked = String(shown);
  }

  /** @param {string} name @param {string | null} value */
  function keep(name, value) {
    const address = new URL(location.href);
    if (value) address.searchParams.set(name, value);
    else address.searchParams.delete(name);
    history.replaceState(null, "", address);
  }

  /** @param {string} name */
  function show(name) {
    for (const button of room.querySelectorAll("button[data-show]")) button.setAttribute("aria-pressed", String(button.getAttribute("data-show") === name));
    for (const part of room.querySelectorAll("[data-shown]")) if (part instanceof HTMLElement) part.hidden = part.dataset.shown !== name;
  }

  for (const button of room.querySelectorAll("button[data-show]")) {
    button.addEventListener("click", () => {
      const name = button.getAttribute("data-show") ?? "";
      show(name);
      keep("show", name === "figure" ? null : name);
    });
  }
  const asked = new URL(location.href).searchParams.get("show") ?? "";
  show(["comparison", "build"].includes(asked) ? asked : "figure");

  against.addEventListener("change", () => {
    keep("against", against.selectedIndex === 0 ? null : against.value);
    void refresh();
  });
  room.addEventListener("click", (event) => {
    const link = event.target instanceof Element ? event.target.closest("a[data-rule]") : null;
    if (!link) return;
    event.preventDefault();
    const forms = document.querySelector('button[data-as="forms"]');
    if (forms instanceof HTMLButtonElement && forms.getAttribute("aria-pressed") === "false") forms.click();
    const card = document.querySelector(`#rules-${link.getAttribute("data-rule")}`);
    if (card instanceof HTMLElement) {
      const details = card.querySelector("details");
      if (details) details.open = true;
      card.scrollIntoView({ block: "center" });
      card.focus({ preventScroll: true });
    }
  });
  document.addEventListener("edited", refresh);
  void refresh();
}
