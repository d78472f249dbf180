// SPDX-License-Identifier: MIT
// Instruments: their readings as they come, ages that tick, places, names and limits.

import { facts, instrumentFacts } from "./facts.js";
import { call, newId, showFault } from "./kitchen_api.js";
import { calibrated, degree, massText, plain, shownTemperature } from "./figures.js";
import { clockText, durationText, kitchenNow } from "./clock.js";
import { attempt, field, numberOf } from "./forms.js";
import { Live } from "./live.js";
import { showConnection } from "./connection.js";
import { fetchPage, putParts, rememberParts } from "./refresh.js";
import { toast } from "./toasts.js";

const TICK_MS = 1000;
const REFRESH_MS = 20000;
const SOON_MS = 300;
const DEFAULT_STALE_S = 30;
/** @type {Map<string, number>} when each series spoke last [ms since 1970 UTC] */
const spoke = new Map();
let soon = 0;
let asking = false;

/** @param {string} series @returns {HTMLElement|null} */
function cardOf(series) {
  return document.querySelector(`.instrument[data-series="${CSS.escape(series)}"]`);
}

/** A value with its unit apart. @param {string} series @param {number} value @returns {[string, string]} */
function shownParts(series, value) {
  const known = /** @type {any} */ (instrumentFacts(series));
  if (known && known.canonical === "degC") return [plain(shownTemperature(value), 1), degree()];
  if (known && known.canonical === "kg") {
    const parts = /^(.*)\s(\S+)$/.exec(massText(value));
    if (parts) return [parts[1], parts[2]];
  }
  return [String(Number(value.toPrecision(6))), known ? known.unit : ""];
}

/** @param {any} reading */
function take(reading) {
  const card = cardOf(reading.series);
  if (!card) {
    refreshSoon(REFRESH_MS);
    return;
  }
  spoke.set(reading.series, Date.parse(reading.time));
  const number = card.querySelector(".now .number");
  const unit = card.querySelector(".now .unit");
  const doubt = card.querySelector(".doubt");
  const known = calibrated(reading);
  const value = known === null ? reading.value : known;
  if (number && unit && value !== null) {
    const parts = shownParts(reading.series, value);
    [number.textContent, unit.textContent] = parts;
  }
  if (doubt instanceof HTMLElement) {
    doubt.hidden = reading.quality === "good";
    doubt.textContent = reading.quality === "good" ? "" : `${reading.quality === "bad" ? "Bad" : "Suspect"}${reading.reason ? `: ${reading.reason}` : " reading"}`;
  }
  tell(reading.series);
}

/** Say how old the last reading is, and whether that is silence. @param {string} series */
function tell(series) {
  const card = cardOf(series);
  const at = spoke.get(series);
  const box = card ? card.querySelector(".now") : null;
  const words = card ? card.querySelector(".age .words") : null;
  if (!box || !words || at === undefined) return;
  const known = instrumentFacts(series);
  const limit = (known && known.stale_after_s) || DEFAULT_STALE_S;
  const age = Math.max(0, (kitchenNow() - at) / 1000);
  const stale = age > limit;
  box.classList.toggle("stale", stale);
  const day = kitchenNow() - at > 86400000;
  const said = stale
    ? `Silent for ${durationText(age)}${day ? "" : `, since ${clockText(at)}`}`
    : `${Math.round(age)}\u00a0s ago`;
  if (words.textContent !== said) words.textContent = said;
}

/** Write the page's words anew; a new instrument needs the whole page. */
async function refresh() {
  soon = 0;
  if (asking || document.hidden) return;
  asking = true;
  const newer = await fetchPage();
  asking = false;
  if (!newer) return;
  const here = Array.from(document.querySelectorAll(".instrument")).map((one) => one.id + one.getAttribute("data-series"));
  const there = Array.from(newer.querySelectorAll(".instrument")).map((one) => one.id + one.getAttribute("data-series"));
  const typing = document.activeElement instanceof HTMLInputElement || document.activeElement instanceof HTMLSelectElement;
  if (here.join() !== there.join()) {
    if (!typing) location.reload();
    return;
  }
  putParts(newer);
}

/** @param {number} ms */
function refreshSoon(ms) {
  if (!soon) soon = window.setTimeout(refresh, ms);
}

/** @param {Element} element @returns {string} */
function seriesOf(element) {
  const card = element.closest(".instrument");
  return (card && card.getAttribute("data-series")) || "";
}

/** @param {string} series @returns {string} as it stands in a path */
function pathOf(series) {
  return `/v1/instruments/${series.split("/").map(encodeURIComponent).join("/")}`;
}

/** @param {HTMLFormElement} form */
async function bind(form) {
  const series = seriesOf(form);
  const place = field(form, "place");
  await call("POST", `/v1/batches/${field(form, "batch")}/bindings`, { id: newId(), series, place });
  toast(`${series} is bound.`);
  refreshSoon(SOON_MS);
}

/** @param {HTMLFormElement} form */
async function giveToPot(form) {
  const series = seriesOf(form);
  const name = field(form, "pot");
  const button = form.querySelector("button[name=as]");
  const as = button instanceof HTMLButtonElement ? button.value : "thermometer";
  const known = /** @type {any} */ (facts).pots.find((/** @type {any} */ pot) => pot.name === name);
  await call("POST", "/v1/pots", Object.assign({}, known || { name }, { [as]: series }));
  toast(`${series} belongs to the pot ${name}.`);
  refreshSoon(SOON_MS);
}

/** @param {HTMLFormElement} form */
async function keepSettings(form) {
  const series = seriesOf(form);
  /** @type {{[key: string]: any}} */
  const body = { id: newId(), series, kind: form.dataset.kind };
  const measure = (/** @type {string} */ name, /** @type {string} */ what) => {
    const text = field(form, name);
    return text ? { value: numberOf(text, what), unit: field(form, `${name}_unit`) } : null;
  };
  const step = measure("step", "The step");
  const u = measure("u", "The uncertainty");
  if (field(form, "name")) body.name = field(form, "name");
  if (step) body.display_step = step;
  if (u) body.u = u;
  if (field(form, "stale")) body.stale_after = { value: numberOf(field(form, "stale"), "The silence"), unit: "s" };
  if (field(form, "every")) body.check_every = { value: numberOf(field(form, "every"), "The days") * 24, unit: "h" };
  if (field(form, "note")) body.note = field(form, "note");
  await call("PUT", "/v1/instruments", body);
  location.reload();
}

/** @param {HTMLElement} button */
async function release(button) {
  await call("POST", `/v1/batches/${button.dataset.batchOf}/bindings`, {
    id: newId(), withdraws: button.dataset.release, why: "released on the page of the instruments",
  });
  toast("Released.");
}

/** @param {HTMLElement} button */
async function takeBack(button) {
  await call("POST", `${pathOf(seriesOf(button))}/checks`, {
    id: newId(), withdraws: button.dataset.takeBack, why: "taken back on the page of the instruments",
  });
  toast("The check is taken back. It stays readable under all checks.");
}

/** A second touch does it: neither can be undone by one. @param {HTMLElement} button @param {(button: HTMLElement) => Promise<void>} act */
async function onSecondTouch(button, act) {
  if (!button.classList.contains("asking")) {
    button.classList.add("asking");
    const before = button.textContent;
    button.textContent = "press again to do it";
    setTimeout(() => { button.classList.remove("asking"); button.textContent = before; }, 4000);
    return;
  }
  const card = button.closest(".instrument");
  const fault = card ? card.querySelector("[data-part] .fault") : null;
  try {
    showFault(fault);
    await act(button);
    refreshSoon(SOON_MS);
  } catch (error) {
    showFault(fault, error);
  }
}

/** @param {HTMLElement} button */
async function copy(button) {
  const line = document.getElementById(button.dataset.copy || "");
  if (!line) return;
  try {
    await navigator.clipboard.writeText(line.textContent || "");
    toast("The line is copied.");
  } catch (error) {
    const range = document.createRange();
    range.selectNodeContents(line);
    const chosen = getSelection();
    if (chosen) {
      chosen.removeAllRanges();
      chosen.addRange(range);
    }
    toast("The line is chosen. Copy it with your device's own way to copy.");
  }
}

document.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button") : null;
  if (!(button instanceof HTMLElement)) return;
  if (button.dataset.release) onSecondTouch(button, release);
  if (button.dataset.takeBack) onSecondTouch(button, takeBack);
  if (button.dataset.copy) copy(button);
});
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement)) return;
  const acts = { "bind-form": bind, "pot-form": giveToPot, "settings-form": keepSettings };
  const act = /** @type {any} */ (acts)[form.className];
  if (!act) return;
  event.preventDefault();
  attempt(form, act);
});

document.querySelectorAll("[data-copy]").forEach((button) => {
  if (button instanceof HTMLElement) button.hidden = false;
});
facts.instruments.forEach((one) => { if (one.last_at) spoke.set(one.series, Date.parse(one.last_at)); });
rememberParts();
setInterval(() => spoke.forEach((_at, series) => tell(series)), TICK_MS);
setInterval(refresh, REFRESH_MS);
const live = new Live(facts.position, {
  onState: showConnection,
  onEvent: (name, data) => {
    if (name === "reading") take(data);
    else if (name === "mark" || name === "reset") refreshSoon(SOON_MS);
  },
});
live.listenTo({});
