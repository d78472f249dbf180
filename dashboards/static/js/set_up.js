// SPDX-License-Identifier: MIT
// Set-up: save a step and go on to the next, put one off, see instruments as they speak.

import { facts } from "./facts.js";
import { call, newId, showFault } from "./kitchen_api.js";
import { field, numberOf, onSubmit } from "./forms.js";
import { fetchPage, putParts, rememberParts } from "./refresh.js";
import { watchRoutes } from "./routes.js";

const LOOK_MS = 3000;
const TYPING_MS = 300;
const told = /** @type {any} */ (facts);

/** @param {string} step @param {string} state */
function walked(step, state) {
  return call("POST", "/v1/settings/walk", { id: newId(), step, state });
}

/** Write the page anew with a step open. @param {string} step */
function reopen(step) {
  history.replaceState(null, "", `${location.pathname}#${step}`);
  location.reload();
}

/** Write the page anew with the step after this one open. @param {string} step */
function goOn(step) {
  const all = Array.from(document.querySelectorAll(".setup-step"));
  const here = all.findIndex((one) => one.id === step);
  const next = all[here + 1] || all[here];
  reopen(next.id);
}

/** Open the step that the address names. */
function openNamed() {
  const named = document.getElementById(location.hash.slice(1));
  if (!(named instanceof HTMLDetailsElement)) return;
  document.querySelectorAll(".setup-step").forEach((one) => { /** @type {HTMLDetailsElement} */ (one).open = one === named; });
  const summary = named.querySelector("summary");
  if (summary) summary.focus();
  named.scrollIntoView({ block: "start" });
}

/** @param {HTMLFormElement} form @param {string} name @param {string} words */
function needed(form, name, words) {
  const input = form.elements.namedItem(name);
  if (field(form, name)) return field(form, name);
  if (input instanceof HTMLElement) input.focus();
  throw new Error(words);
}

/** @param {HTMLFormElement} form @returns {{[key: string]: any}} */
function placeOf(form) {
  const said = needed(form, "place", "Nothing is given yet. Give the altitude, as a map shows it; 20 m more or less matter little.");
  const unit = field(form, "place_unit");
  let value;
  try {
    value = numberOf(said, unit === "m" || unit === "ft" ? "The altitude" : "The pressure");
  } catch (error) {
    const input = form.elements.namedItem("place");
    if (input instanceof HTMLElement) input.focus();
    throw error;
  }
  return unit === "m" || unit === "ft" ? { altitude: { value, unit } } : { pressure: { value, unit } };
}

/** @param {HTMLFormElement} form @param {string} step @returns {{[key: string]: any}} */
function bodyOf(form, step) {
  if (step === "place") return placeOf(form);
  if (step === "kitchen") {
    return {
      name: needed(form, "name", "The kitchen has no name yet. Give it one, as it shall stand on your records."),
      zone: needed(form, "zone", "The time zone is missing. Write it like Europe/Paris."),
    };
  }
  /** @type {{[key: string]: any}} */
  const body = { temperature_unit: field(form, "temperature_unit"), mass_unit: field(form, "mass_unit") };
  const currency = field(form, "currency");
  if (currency && !/^[A-Za-z]{3}$/.test(currency)) {
    const input = form.elements.namedItem("currency");
    if (input instanceof HTMLElement) input.focus();
    throw new Error(`“${currency}” is no currency code. Write its three letters, like EUR or USD.`);
  }
  if (currency) body.currency = currency;
  return body;
}

document.querySelectorAll("form[data-settings]").forEach((one) => onSubmit(one, async (form) => {
  const step = form.dataset.settings || "";
  try {
    await call("POST", "/v1/settings", { id: newId(), ...bodyOf(form, step) });
  } catch (error) {
    const wrong = error instanceof Error && "where" in error ? String(/** @type {any} */ (error).where).replace("body.", "") : "";
    const input = form.elements.namedItem(/altitude|pressure/.test(wrong) ? "place" : wrong);
    if (wrong && input instanceof HTMLElement) input.focus();
    throw error;
  }
  if (step === "units") ["temperature", "mass"].forEach((name) => { document.cookie = `curdwright_${name}=; path=/; max-age=0; samesite=strict`; });
  goOn(step);
}));

onSubmit(document.getElementById("pot-form"), async (form) => {
  /** @type {{[key: string]: any}} */
  const body = { id: newId(), name: needed(form, "name", "The pot has no name yet. Give it the one that you call it by.") };
  const empty = field(form, "empty");
  if (empty) body.empty = { value: numberOf(empty, "The empty weight"), unit: field(form, "unit") };
  ["material", "thermometer", "scale"].forEach((name) => { if (field(form, name)) body[name] = field(form, name); });
  await call("POST", "/v1/pots", body);
  reopen("pots");
});

document.addEventListener("click", async (event) => {
  const button = event.target instanceof Element ? event.target.closest("button") : null;
  if (!button) return;
  const sheet = button.closest(".setup-step");
  const fault = sheet ? sheet.querySelector(".fault") : null;
  try {
    if (button.dataset.walk) {
      await walked(button.dataset.walk, button.dataset.state || "later");
      goOn(button.dataset.walk);
    } else if (button.dataset.next) goOn(button.dataset.next);
    else if (button.dataset.restore) {
      await call("POST", "/v1/settings", { id: newId(), restore: [button.dataset.restore] });
      reopen(sheet ? sheet.id : "kitchen");
    } else if (button.id === "leave") {
      await walked("walk", "done");
      location.assign("/");
    }
  } catch (error) {
    showFault(fault, error);
  }
});

let typing = 0;
const place = document.querySelector('form[data-settings="place"]');

/** Tell where water boils by what is typed, before it is saved. */
async function tellBoiling() {
  const boils = document.getElementById("boils");
  const u = document.getElementById("boils-u");
  const from = document.getElementById("boils-from");
  if (!(place instanceof HTMLFormElement) || !boils || !from) return;
  const said = field(place, "place");
  const value = Number(said.replace(",", "."));
  if (!said || !Number.isFinite(value)) return;
  try {
    const point = await call("GET", `/v1/settings/boiling-point?value=${value}&unit=${field(place, "place_unit")}`);
    const fahrenheit = (boils.textContent || "").includes("°F");
    boils.textContent = fahrenheit ? `${(point.value * 1.8 + 32).toFixed(1)} °F` : `${point.value.toFixed(2)} °C`;
    if (u) u.textContent = "";
    from.textContent = `${point.from.join("; ")}; not saved yet`;
  } catch (error) {
    from.textContent = error instanceof Error ? error.message : String(error);
  }
}

if (place instanceof HTMLFormElement) {
  place.addEventListener("input", () => {
    clearTimeout(typing);
    typing = setTimeout(tellBoiling, TYPING_MS);
  });
  const typed = place.elements.namedItem("place");
  if (typed instanceof HTMLInputElement && typed.value !== typed.defaultValue) tellBoiling();
}

// A zone that nobody chose is proposed from this device's own.
const zone = document.getElementById("s-zone");
if (zone instanceof HTMLInputElement && zone.dataset.default) {
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (own) zone.value = own;
}

async function look() {
  const sheet = document.getElementById("instruments");
  if (!(sheet instanceof HTMLDetailsElement) || !sheet.open || document.hidden) return;
  const newer = await fetchPage();
  if (newer) putParts(newer);
}

rememberParts();
watchRoutes(() => reopen("notices"));
setInterval(look, LOOK_MS);
window.addEventListener("hashchange", openNamed);
if (location.hash) {
  openNamed();
  // The browser's own way to the named place takes the focus away again.
  window.addEventListener("load", () => setTimeout(() => { if (document.activeElement === document.body) openNamed(); }, 0));
}
if (told.first) walked("walk", "open").catch(() => {});
