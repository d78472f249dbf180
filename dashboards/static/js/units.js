// SPDX-License-Identifier: MIT
// The reader's units: a cookie, so that the server writes the page in them. Imports nothing.

const A_YEAR_S = 31536000;

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-unit]") : null;
  if (!(button instanceof HTMLElement)) return;
  const name = `curdwright_${button.dataset.unit}`;
  document.cookie = `${name}=${button.dataset.value}; path=/; max-age=${A_YEAR_S}; samesite=strict`;
  location.reload();
});
