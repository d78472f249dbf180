// SPDX-License-Identifier: MIT
// One recipe: start a batch from it, plan its pour.

import { facts } from "./facts.js";
import { call, newId } from "./kitchen_api.js";
import { field, numberOf, onSubmit } from "./forms.js";

const { recipe, units } = /** @type {any} */ (facts);
const batchId = newId();

const opener = document.getElementById("open-start");
const sheet = document.getElementById("start");
if (opener && sheet) opener.addEventListener("click", () => {
  sheet.hidden = !sheet.hidden;
  opener.setAttribute("aria-expanded", String(!sheet.hidden));
  if (sheet.hidden) return;
  const chosen = sheet.querySelector("input:checked") || sheet.querySelector("input");
  if (chosen instanceof HTMLElement) chosen.focus();
  sheet.scrollIntoView({ block: "nearest" });
});

onSubmit(document.getElementById("start-form"), async (form) => {
  const pot = form.querySelector("input[name=pot]:checked");
  if (!(pot instanceof HTMLInputElement)) throw new Error("No pot is chosen yet. Touch the pot that goes on the heat.");
  /** @type {{[key: string]: any}} */
  const body = { id: batchId, recipe: { id: recipe.id, version: recipe.version }, name: field(form, "name") || recipe.name };
  if (pot.value) {
    body.pot = pot.value;
    if (pot.dataset.thermometer) body.thermometer = pot.dataset.thermometer;
    if (pot.dataset.scale) body.scale = pot.dataset.scale;
  }
  await call("POST", "/v1/batches", body);
  location.assign("/");
});

const UNITS = units.mass === "oz"
  ? { temperature: units.temperature, large: "lb", small: "oz" }
  : { temperature: units.temperature, large: "kg", small: "g" };

/** @param {HTMLFormElement} form @returns {string} */
function asked(form) {
  const chosen = form.querySelector("input[name=ask]:checked");
  return chosen instanceof HTMLInputElement ? chosen.value : "milk";
}

const pour = document.getElementById("pour-form");
if (pour instanceof HTMLFormElement) {
  pour.addEventListener("change", () => {
    pour.querySelectorAll("[data-ask]").forEach((one) => {
      /** @type {HTMLElement} */ (one).hidden = /** @type {HTMLElement} */ (one).dataset.ask !== asked(pour);
    });
  });
}

onSubmit(pour, async (form) => {
  /** @param {string} name @param {string} what @param {string} unit */
  const measure = (name, what, unit) => {
    try {
      return { value: numberOf(field(form, name), what), unit };
    } catch (error) {
      const input = form.elements.namedItem(name);
      if (input instanceof HTMLElement) input.focus();
      throw error;
    }
  };
  /** @type {{[key: string]: any}} */
  const body = { target: measure("target", "The mixture", UNITS.temperature), milk_mass: measure("milk_mass", "The milk", UNITS.large) };
  if (asked(form) === "milk") body.slurry_mass = measure("slurry_mass", "The slurry", UNITS.small);
  else body.milk_temperature = measure("milk_temperature", "The milk's temperature", UNITS.temperature);
  if (field(form, "slurry_temperature")) body.slurry_temperature = measure("slurry_temperature", "The slurry's temperature", UNITS.temperature);
  if (field(form, "pot")) body.pot = field(form, "pot");
  if (recipe.milk_solids_fraction) {
    body.milk_solids_fraction = recipe.milk_solids_fraction;
    body.ingredients = recipe.ingredients;
  }
  const said = await call("POST", "/recipes/poured", body);
  const place = document.getElementById("poured");
  if (place) place.innerHTML = said.html; // written and escaped by our own server
});
