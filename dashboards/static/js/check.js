// SPDX-License-Identifier: MIT
// A check of an instrument: its reading as it comes, whether it is steady, the arithmetic worked
// out by the kitchen before anything is recorded.

import { facts, instrumentFacts } from "./facts.js";
import { call, newId, showFault } from "./kitchen_api.js";
import { calibrated, degree, massText, plain, shownDifference, shownTemperature } from "./figures.js";
import { clockText, durationText, fromField, kitchenNow } from "./clock.js";
import { attempt, field, numberOf } from "./forms.js";
import { Live } from "./live.js";
import { showConnection } from "./connection.js";
import { Steadiness } from "./steadiness.js";

const TICK_MS = 1000;
const BEFORE_PLUNGE_MS = 20000;
const KG_IN = { g: 0.001, kg: 1, oz: 0.45359237 / 16, lb: 0.45359237 };
/** @type {{series: string, kind: string, recent: [number, number|null, number][]}} */
const told = /** @type {any} */ (facts).check;
const known = /** @type {any} */ (instrumentFacts(told.series));
const rest = new Steadiness(known.canonical);
const form = /** @type {HTMLFormElement} */ (document.getElementById("check-form"));
const save = /** @type {HTMLButtonElement} */ (document.getElementById("save"));
let plungedAt = 0;
let settledAt = 0;
/** @type {{[key: string]: any}|null} what the arithmetic was worked out for */
let worked = null;

const path = `/v1/instruments/${told.series.split("/").map(encodeURIComponent).join("/")}/checks`;

/** @param {number} value canonical @returns {string} without its unit */
function shown(value) {
  if (known.canonical === "degC") return plain(shownTemperature(value), 2);
  return massText(value).replace(/\s\S+$/, "");
}

/** @param {number} size canonical, a difference @returns {string} */
function amount(size) {
  return known.canonical === "degC" ? `${plain(shownDifference(size), 2)} ${degree()}` : massText(size);
}

function tell() {
  const place = document.getElementById("steady");
  const number = document.getElementById("indication");
  const unit = document.querySelector("#now .unit");
  const last = rest.said[rest.said.length - 1];
  if (!place || !number) return;
  if (last) {
    number.textContent = shown(last.value);
    if (unit && known.canonical === "kg") unit.textContent = (/\S+$/.exec(massText(last.value)) || [""])[0];
  }
  const found = rest.at(kitchenNow() / 1000, known.stale_after_s || 30);
  const over = Math.round(found.over);
  const words = {
    waiting: last ? `Watching: ${over}\u00a0s so far` : "Waiting for a reading",
    moving: `Still moving: ${amount(found.spread)} within ${over}\u00a0s`,
    steady: `Steady: within ${amount(found.spread)} for ${over}\u00a0s`,
    silent: `Silent for ${durationText(found.over)}`,
  };
  const box = document.getElementById("now");
  if (box) box.classList.toggle("stale", found.state === "silent");
  const line = place.querySelector(".words");
  if (line) line.textContent = words[found.state];
  const spoken = document.getElementById("steady-said");
  if (spoken && place.dataset.state !== found.state) spoken.textContent = words[found.state];
  place.dataset.state = found.state;
}

/** The mean of the last readings goes into the field. */
function takeReading() {
  const fault = form.querySelector(".fault");
  showFault(fault);
  const found = rest.at(kitchenNow() / 1000, known.stale_after_s || 30);
  const target = form.elements.namedItem("indicated");
  if (found.mean === null || !(target instanceof HTMLInputElement)) {
    showFault(fault, new Error("There is no usable reading to take. See that the instrument speaks, or type what it shows."));
    return;
  }
  if (known.canonical === "degC") target.value = plain(shownTemperature(found.mean), 2).replace("\u2212", "-");
  else {
    const unit = /** @type {keyof typeof KG_IN} */ (field(form, "indicated_unit"));
    target.value = String(Number((found.mean / KG_IN[unit]).toPrecision(7)));
  }
  if (found.state !== "steady") {
    showFault(fault, new Error("It was not steady yet. Take it again when it is, or go on if you know better."));
  }
  changed();
  const next = document.getElementById(told.kind === "weight" ? "check-reference" : "work-out");
  if (next) next.focus();
}

/** @param {string} name @param {string} what @returns {{value: number, unit: string}} */
function measure(name, what) {
  return { value: numberOf(field(form, name), what), unit: field(form, `${name}_unit`) };
}

/** @returns {{[key: string]: any}} what is sent */
function body() {
  /** @type {{[key: string]: any}} */
  const sent = { kind: told.kind };
  if (told.kind === "dip") {
    if (field(form, "tau")) {
      sent.time_constant = { value: numberOf(field(form, "tau"), "The time constant"), unit: "s" };
      if (field(form, "tau_u")) sent.u = numberOf(field(form, "tau_u"), "Its uncertainty");
    } else {
      if (!settledAt) throw new Error("The plunge isn't done yet. Touch “It goes in now” and then “It has settled”, or type a time constant.");
      sent.from = new Date(plungedAt - BEFORE_PLUNGE_MS).toISOString();
      sent.to = new Date(settledAt).toISOString();
    }
  } else sent.indicated = measure("indicated", "What it showed");
  if (told.kind === "weight") sent.reference = measure("reference", "The weight");
  if (told.kind === "boil" && field(form, "pressure")) {
    sent.pressure = { value: numberOf(field(form, "pressure"), "The pressure"), unit: "hPa" };
  }
  const from = fromField(field(form, "valid_from"));
  if (from) sent.valid_from = from;
  if (field(form, "note")) sent.note = field(form, "note");
  if (field(form, "who")) sent.who = field(form, "who");
  return sent;
}

/** @param {number} value @param {string} unit @param {boolean} difference @returns {string} */
function figure(value, unit, difference) {
  if (unit === "degC" && !difference) return `${plain(shownTemperature(value), 2)} ${degree()}`;
  if (unit === "K" || unit === "degC") return `${plain(shownDifference(value), 2)} ${degree()}`;
  if (unit === "kg") return massText(value);
  return unit === "-" ? plain(value, 5) : `${plain(value, 2)} ${unit}`;
}

/** @param {any} found a correction @returns {string} */
function lineWords(found) {
  let words = "value = indication";
  if (found.scale !== 1) words += ` × ${plain(found.scale, 5)}`;
  if (found.offset !== 0) words += ` ${found.offset > 0 ? "+" : "\u2212"} ${figure(Math.abs(found.offset), found.unit, true)}`;
  const u = found.u ? `; u ${figure(found.u, found.unit, true)}` : "";
  const lag = found.time_constant_s === null ? "" : `; time constant ${plain(found.time_constant_s, 2)} s, u ${plain(found.u_time_constant_s, 2)} s`;
  return `${words}${u}${lag} (${found.method})`;
}

/** @param {any} draft */
function showDraft(draft) {
  const rows = document.getElementById("arithmetic");
  const box = document.getElementById("worked-out");
  if (!rows || !box) return;
  rows.textContent = "";
  draft.arithmetic.forEach((/** @type {any} */ one) => {
    const row = document.createElement("tr");
    const name = document.createElement("th");
    name.scope = "row";
    name.textContent = one.name;
    row.append(name);
    [figure(one.value, one.unit, false), one.u ? figure(one.u, one.unit, true) : "–", one.method].forEach((text) => {
      const cell = document.createElement("td");
      cell.textContent = text.replace(/degC/g, "°C");
      row.append(cell);
    });
    rows.append(row);
  });
  ["before", "after"].forEach((when) => {
    const place = document.getElementById(when);
    if (place) place.textContent = lineWords(draft[when]);
  });
  box.hidden = false;
  const title = document.getElementById("arithmetic-title");
  if (title) title.focus();
}

/** @returns {Promise<void>} */
async function workOut() {
  const sent = body();
  const draft = await call("POST", `${path}/draft`, sent);
  worked = Object.assign({ id: newId(), at: draft.check.at }, sent);
  showDraft(draft);
  save.disabled = false;
}

/** A number was changed: the arithmetic no longer belongs to it. */
function changed() {
  worked = null;
  save.disabled = true;
  const box = document.getElementById("worked-out");
  if (box) box.hidden = true;
}

async function record() {
  const fault = form.querySelector(".fault");
  if (!worked) return;
  save.disabled = true;
  showFault(fault);
  try {
    await call("POST", path, worked);
    location.assign(`/instruments?${new URLSearchParams({ saved: told.series })}`);
  } catch (error) {
    showFault(fault, error);
    save.disabled = false;
  }
}

function plunge() {
  plungedAt = kitchenNow();
  settledAt = 0;
  changed();
  const words = document.getElementById("dip-words");
  if (words) words.textContent = `It went in at ${clockText(plungedAt, true)}. Keep stirring until it is steady.`;
  const settled = document.getElementById("settled");
  if (settled instanceof HTMLButtonElement) settled.disabled = false;
}

function settled() {
  settledAt = kitchenNow();
  const words = document.getElementById("dip-words");
  if (words) words.textContent = `From ${clockText(plungedAt, true)} to ${clockText(settledAt, true)}: ${durationText((settledAt - plungedAt) / 1000)}.`;
  attempt(form, workOut);
}

/** @param {string} id @param {() => void} act */
function onTouch(id, act) {
  const button = document.getElementById(id);
  if (button) button.addEventListener("click", act);
}

told.recent.forEach(([ms, value, quality]) => {
  const canonical = calibrated({ series: told.series, value, unit: known.unit });
  if (canonical !== null) rest.add({ s: ms / 1000, value: canonical, good: quality === 0 });
});
onTouch("take", takeReading);
onTouch("plunge", plunge);
onTouch("settled", settled);
onTouch("save", record);
form.addEventListener("input", changed);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  attempt(form, workOut);
});
setInterval(tell, TICK_MS);
tell();
const live = new Live(facts.position, {
  onState: showConnection,
  onEvent: (name, data) => {
    if (name !== "reading" || data.series !== told.series) return;
    const value = calibrated(data);
    if (value !== null) rest.add({ s: Date.parse(data.time) / 1000, value, good: data.quality === "good" });
    tell();
  },
});
live.listenTo({ series: [told.series] });
