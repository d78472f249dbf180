// SPDX-License-Identifier: MIT
// Reading forms. Imports only what shows a fault.

import { showFault } from "./kitchen_api.js";

/** @param {HTMLFormElement} form @param {string} name @returns {string} */
export function field(form, name) {
  const found = form.elements.namedItem(name);
  return found instanceof HTMLInputElement || found instanceof HTMLSelectElement ? found.value.trim() : "";
}

/** @param {HTMLFormElement} form @param {string} name @returns {boolean} */
export function ticked(form, name) {
  const found = form.elements.namedItem(name);
  return found instanceof HTMLInputElement && found.checked;
}

/**
 * A number as people type it, with a point or a comma.
 * @param {string} text @param {string} what named in the fault
 * @returns {number}
 */
export function numberOf(text, what) {
  const value = Number(text.replace(",", ".").replace("\u2212", "-"));
  if (!text || !Number.isFinite(value)) throw new Error(`${what} “${text}” is not a number. Write it like 3.56.`);
  return value;
}

/**
 * Do something when a form is sent; a fault is shown in it.
 * @param {Element|null} form @param {(form: HTMLFormElement) => Promise<void>} act
 */
export function onSubmit(form, act) {
  if (!(form instanceof HTMLFormElement)) return;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    await attempt(form, act);
  });
}

/** @param {HTMLFormElement} form @param {(form: HTMLFormElement) => Promise<void>} act */
export async function attempt(form, act) {
  const place = form.querySelector(".fault");
  const button = form.querySelector("button[type=submit]");
  showFault(place);
  if (button instanceof HTMLButtonElement) button.disabled = true;
  try {
    await act(form);
  } catch (error) {
    showFault(place, error);
  } finally {
    if (button instanceof HTMLButtonElement) button.disabled = false;
  }
}
