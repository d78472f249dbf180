// SPDX-License-Identifier: MIT
// The list of batches: start again like one of them.

import { call, newId, showFault } from "./kitchen_api.js";

/** @param {any} old @returns {object} the same pot, recipe, instruments and target, begun now */
function again(old) {
  /** @type {{[key: string]: any}} */
  const body = { id: newId(), name: old.name };
  ["pot", "thermometer", "scale", "target", "self_set"].forEach((key) => {
    if (old[key] !== null && old[key] !== undefined) body[key] = old[key];
  });
  if (old.recipe) body.recipe = old.recipe.id;
  else if (old.ingredients && old.ingredients.length) body.ingredients = old.ingredients;
  return body;
}

document.addEventListener("click", async (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-again]") : null;
  if (!(button instanceof HTMLButtonElement)) return;
  const fault = button.parentElement ? button.parentElement.querySelector(".fault") : null;
  button.disabled = true;
  showFault(fault);
  try {
    const old = await call("GET", `/v1/batches/${button.dataset.again}`);
    await call("POST", "/v1/batches", again(old));
    location.assign("/");
  } catch (error) {
    showFault(fault, error);
    button.disabled = false;
  }
});
