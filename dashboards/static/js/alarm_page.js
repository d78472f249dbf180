// SPDX-License-Identifier: MIT
// The page of the alarms: what is said to one of them, and the page anew when it has changed.

import { call, Refusal } from "./kitchen_api.js";

const SHELF_S = 600;
const LOOK_MS = 10000;

/** @param {Element} from @param {string} verb @param {object} body */
async function say(from, verb, body) {
  const row = from.closest("[data-alarm]");
  if (!row) return;
  const fault = row.querySelector(".fault");
  try {
    await call("POST", `/v1/alarms/${row.getAttribute("data-alarm")}/${verb}`, body);
    location.reload();
  } catch (error) {
    if (!(fault instanceof HTMLElement)) return;
    const todo = error instanceof Refusal ? error.todo : "";
    fault.textContent = `${error instanceof Error ? error.message : error} ${todo}`.trim();
    fault.hidden = false;
  }
}

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-verb]") : null;
  if (!button) return;
  const verb = button.getAttribute("data-verb") || "";
  say(button, verb, verb === "shelve" ? { for_s: SHELF_S, why: "put away on the page of the alarms" } : {});
});

document.addEventListener("submit", (event) => {
  const form = event.target instanceof HTMLFormElement ? event.target : null;
  if (!form || !form.dataset.verb) return;
  event.preventDefault();
  say(form, form.dataset.verb, { why: String(new FormData(form).get("why") || "") });
});

window.setInterval(() => {
  const writing = document.querySelector("details[open]") || document.activeElement instanceof HTMLInputElement;
  if (!document.hidden && !writing) location.reload();
}, LOOK_MS);
