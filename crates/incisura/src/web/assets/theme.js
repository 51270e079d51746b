// @ts-check
// Before anything is shown: light or dark, as chosen here or as the computer is set.
{
  const chosen = localStorage.getItem("theme");
  if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
}
