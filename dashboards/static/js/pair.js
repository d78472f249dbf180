// SPDX-License-Identifier: MIT
// Pairing: the token from the address's fragment, which no server log ever sees, or typed.

import { call } from "./kitchen_api.js";
import { attempt, field, onSubmit } from "./forms.js";

/** Only a path of this kitchen, never another host. @returns {string} */
function destination() {
  const to = new URLSearchParams(location.search).get("to") || "/";
  return /^\/(?![/\\])/.test(to) ? to : "/";
}

const form = document.getElementById("pair-form");

/** @param {HTMLFormElement} sent */
async function pair(sent) {
  const token = field(sent, "token");
  if (!token) throw new Error("There is no token yet. Type the one that was printed at start.");
  await call("POST", "/v1/pair", { token });
  const words = document.getElementById("pairing");
  if (words) words.textContent = "Paired.";
  location.replace(destination());
}

/** The address of a pairing picture carries the token behind its #. */
function tryFragment() {
  const token = decodeURIComponent(location.hash.slice(1));
  const input = form instanceof HTMLFormElement ? form.elements.namedItem("token") : null;
  if (!token || !(input instanceof HTMLInputElement) || !(form instanceof HTMLFormElement)) return;
  history.replaceState(null, "", location.pathname + location.search);
  input.value = token;
  attempt(form, pair);
}

onSubmit(form, pair);
window.addEventListener("hashchange", tryFragment);
tryFragment();
