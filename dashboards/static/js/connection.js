// SPDX-License-Identifier: MIT
// What the page says of its connection, in words.

import { clockText, kitchenNow } from "./clock.js";
import { waiting } from "./outbox.js";

let lostAt = 0;

/** @param {string} state "live" or "lost" */
export function showConnection(state) {
  const place = document.getElementById("connection");
  if (!place) return;
  const words = place.querySelector(".words");
  const before = place.dataset.state;
  place.dataset.state = state;
  if (!words) return;
  if (state === "lost") {
    if (before !== "lost") lostAt = kitchenNow();
    const kept = waiting().length;
    words.textContent = `Connection lost since ${clockText(lostAt)}. Marks are kept here and sent when it is back.` +
      (kept ? ` Waiting: ${kept}.` : "");
  } else if (before === "lost") {
    words.textContent = `Connection is back. It was away for ${Math.round((kitchenNow() - lostAt) / 1000)} s.`;
    setTimeout(() => {
      if (place.dataset.state === "live") words.textContent = "Live";
    }, 20000);
  } else {
    words.textContent = "Live";
  }
}
