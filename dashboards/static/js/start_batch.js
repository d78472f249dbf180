// SPDX-License-Identifier: MIT
// Starting a batch, with the instruments shown as they read now.

import { call, newId } from "./kitchen_api.js";
import { field, numberOf, onSubmit, ticked } from "./forms.js";

const LOOK_MS = 2000;
/** @type {string|null} the same form sent twice makes one batch */
let batchId = null;

/** @param {HTMLFormElement} form @returns {object} */
function bodyOf(form) {
  /** @type {{[key: string]: any}} */
  const body = { id: batchId, name: field(form, "name") };
  if (!body.name) throw new Error("The batch has no name yet. Give it one, such as the pot and the ingredient.");
  ["pot", "recipe", "thermometer", "scale"].forEach((name) => {
    const said = field(form, name);
    if (said) body[name] = said;
  });
  const ingredient = field(form, "ingredient");
  if (ingredient) body.ingredients = [{ name: ingredient }];
  const target = field(form, "target");
  if (target) {
    body.target = { value: numberOf(target, "The target"), unit: field(form, "target_unit") };
    const approach = field(form, "approach");
    if (approach) body.target.approach = approach;
  }
  if (ticked(form, "self_set")) body.self_set = true;
  return body;
}

/** Show what each instrument reads while the form is open, so that a warm hand finds the probe. */
async function showReadings() {
  const sheet = document.getElementById("start");
  if (!(sheet instanceof HTMLDetailsElement) || !sheet.open || document.hidden) return;
  let said;
  try {
    said = await call("GET", "/v1/instruments");
  } catch (error) {
    return;
  }
  sheet.querySelectorAll("select[data-instruments]").forEach((select) => {
    if (!(select instanceof HTMLSelectElement)) return;
    const wantsScale = select.dataset.instruments === "scale";
    said.instruments.filter((/** @type {any} */ one) => (one.kind === "scale") === wantsScale)
      .forEach((/** @type {any} */ one) => showOne(select, one));
  });
}

/** @param {HTMLSelectElement} select @param {any} one */
function showOne(select, one) {
  let option = Array.from(select.options).find((known) => known.value === one.series);
  if (!option) {
    option = document.createElement("option");
    option.value = one.series;
    select.append(option);
  }
  const unit = one.unit === "Cel" || one.unit === "degC" ? "°C" : one.unit;
  const last = one.last && one.last.value !== null ? ` · shows ${Number(one.last.value.toPrecision(6))} ${unit}` : "";
  const text = one.series + last + (one.last && one.last.stale ? ", silent now" : "");
  if (option.textContent !== text) option.textContent = text;
}

/** @param {() => void} afterStart */
export function watchStart(afterStart) {
  const form = document.getElementById("start-form");
  onSubmit(form, async (sent) => {
    batchId = batchId || newId();
    await call("POST", "/v1/batches", bodyOf(sent));
    batchId = null;
    sent.reset();
    const sheet = document.getElementById("start");
    if (sheet instanceof HTMLDetailsElement) sheet.open = false;
    afterStart();
  });
  setInterval(showReadings, LOOK_MS);
}
