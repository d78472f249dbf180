// SPDX-License-Identifier: MIT
// The page of the alarms: what is said to one of them, and the page anew when it has changed.

import { call, Refusal } from "./kitchen_api.js";
import { fetchPage } from "./refresh.js";

const SHELF_S = 600;
const LOOK_MS = 5000;
let busy = false;

/** Put the page's content anew in place, unless somebody is writing in it. @param {boolean} anyway */
async function renew(anyway) {
  const writing = document.querySelector("details[open] form") || document.activeElement instanceof HTMLInputElement;
  if (!anyway && (busy || document.hidden || writing)) return;
  const newer = await fetchPage();
  const fresh = newer && newer.getElementById("main");
  const old = document.getElementById("main");
  if (!fresh || !old || (busy && !anyway)) return;
  const before = old.querySelectorAll(":scope section > details");
  fresh.querySelectorAll(":scope section > details").forEach((one, index) => {
    const was = before[index];
    if (one instanceof HTMLDetailsElement && was instanceof HTMLDetailsElement) one.open = was.open;
  });
  old.replaceWith(document.importNode(fresh, true));
}

/** @param {Element} from @param {string} verb @param {object} body */
async function say(from, verb, body) {
  const row = from.closest("[data-alarm]");
  if (!row || busy) return;
  const fault = row.querySelector(".fault");
  busy = true;
  try {
    await call("POST", `/v1/alarms/${row.getAttribute("data-alarm")}/${verb}`, body);
    await renew(true);
  } catch (error) {
    if (!(fault instanceof HTMLElement)) return;
    const todo = error instanceof Refusal ? error.todo : "";
    fault.textContent = `${error instanceof Error ? error.message : error} ${todo}`.trim();
    fault.hidden = false;
  } finally {
    busy = false;
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

window.setInterval(() => { renew(false); }, LOOK_MS);
