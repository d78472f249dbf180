// SPDX-License-Identifier: MIT
// The list of batches: start from a recipe, repeat one, end one, answer what an idle pot asks.

import { call, newId, showFault } from "./kitchen_api.js";
import { field, onSubmit } from "./forms.js";
import { listenForQuestions } from "./questions.js";

const ASK_MS = 5000;
/** @type {string|null} the same form sent twice makes one batch */
let batchId = null;

/** @param {any} old @returns {object} the same recipe, pot, instruments, target and lots, begun now */
function again(old) {
  /** @type {{[key: string]: any}} */
  const body = { id: newId(), name: old.name };
  ["pot", "thermometer", "scale", "target", "self_set", "coagulant", "nominal_block"].forEach((key) => {
    if (old[key] !== null && old[key] !== undefined) body[key] = old[key];
  });
  if (old.recipe) body.recipe = { id: old.recipe.id, version: old.recipe.version };
  if (old.ingredients && old.ingredients.length) body.ingredients = old.ingredients;
  return body;
}

/** @param {Element} button @param {() => Promise<void>} act */
async function attempt(button, act) {
  const fault = button.parentElement ? button.parentElement.querySelector(".fault") : null;
  if (button instanceof HTMLButtonElement) button.disabled = true;
  showFault(fault);
  try {
    await act();
  } catch (error) {
    showFault(fault, error);
    if (button instanceof HTMLButtonElement) button.disabled = false;
  }
}

/** @param {HTMLElement} button an end closes the batch, so it asks for a second press */
function end(button) {
  if (button.classList.contains("asking")) {
    attempt(button, async () => {
      await call("POST", `/v1/batches/${button.dataset.end}/events`, { id: newId(), kind: "end" });
      location.reload();
    });
    return;
  }
  const before = button.innerHTML;
  button.classList.add("asking");
  button.textContent = "Press again: it closes the batch";
  setTimeout(() => {
    if (!button.isConnected || (button instanceof HTMLButtonElement && button.disabled)) return;
    button.classList.remove("asking");
    button.innerHTML = before;
  }, ASK_MS);
}

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button") : null;
  if (!button) return;
  if (button.dataset.end) end(button);
  if (!button.dataset.again) return;
  attempt(button, async () => {
    const old = await call("GET", `/v1/batches/${button.dataset.again}`);
    const made = await call("POST", "/v1/batches", again(old));
    location.assign(`/#pot-${made.id}`);
  });
});

onSubmit(document.getElementById("begin-form"), async (form) => {
  const recipe = form.elements.namedItem("recipe");
  const pot = form.elements.namedItem("pot");
  if (!(recipe instanceof HTMLSelectElement) || !(pot instanceof HTMLSelectElement)) return;
  const chosen = pot.selectedOptions[0];
  const named = recipe.selectedOptions[0].textContent || "";
  batchId = batchId || newId();
  /** @type {{[key: string]: any}} */
  const body = { id: batchId, recipe: recipe.value, name: [field(form, "pot"), named].filter(Boolean).join(", ") };
  if (pot.value) body.pot = pot.value;
  if (chosen && chosen.dataset.thermometer) body.thermometer = chosen.dataset.thermometer;
  if (chosen && chosen.dataset.scale) body.scale = chosen.dataset.scale;
  await call("POST", "/v1/batches", body);
  location.assign(`/#pot-${batchId}`);
});

listenForQuestions(() => location.reload());
