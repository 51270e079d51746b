// @ts-check
/** What every page does: the list of keys, the way to the rooms, light and dark. */

import { the } from "/common.js";

const keys = the("#keys", HTMLDialogElement);
const theme = the("#theme-button", HTMLButtonElement);
const root = document.documentElement;
const darkness = matchMedia("(prefers-color-scheme: dark)");

const isDark = () => (root.dataset.theme ? root.dataset.theme === "dark" : darkness.matches);

function nameTheme() {
  theme.textContent = (isDark() ? theme.dataset.light : theme.dataset.dark) ?? "";
}

theme.addEventListener("click", () => {
  root.dataset.theme = isDark() ? "light" : "dark";
  localStorage.setItem("theme", root.dataset.theme);
  nameTheme();
});
darkness.addEventListener("change", nameTheme);
nameTheme();

the("#keys-button", HTMLButtonElement).addEventListener("click", () => keys.showModal());

document.addEventListener("keydown", (event) => {
  if (event.altKey && !event.ctrlKey && !event.metaKey && /^[1-9]$/.test(event.key)) {
    const room = document.querySelectorAll(".masthead nav a")[Number(event.key) - 1];
    if (room instanceof HTMLAnchorElement) {
      event.preventDefault();
      room.click();
    }
    return;
  }
  const typing = event.target instanceof Element && event.target.matches("input:not([type=checkbox], [type=radio], [type=range]), textarea, select");
  if (event.key === "?" && !typing && !keys.open) {
    event.preventDefault();
    keys.showModal();
  }
});
