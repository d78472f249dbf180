// SPDX-License-Identifier: MIT
// The record: its curve, its marks put right, its weighings and observations.

import { facts } from "./facts.js";
import { fromField } from "./clock.js";
import { CurveFeed } from "./curve_feed.js";
import { sceneOf } from "./scenes.js";
import { calibrated } from "./figures.js";
import { Live } from "./live.js";
import { showConnection } from "./connection.js";
import { listenForMarks, onMarked } from "./marks.js";
import { listenForProposals, onAnswered } from "./proposals.js";
import { flush, record } from "./outbox.js";
import { fetchPage, putParts, rememberParts } from "./refresh.js";
import { attempt, field, numberOf } from "./forms.js";
import { onPhoto } from "./photos.js";
import { toast } from "./toasts.js";

const SOON_MS = 150;
const batch = facts.batches[0];
const path = `/v1/batches/${batch.id}`;
let soon = 0;

function makeFeed() {
  const place = document.getElementById("curve");
  if (!place || !batch.probe || batch.curve_from_ms === null) return null;
  return new CurveFeed(place, {
    series: batch.probe, fromMs: batch.curve_from_ms, toMs: batch.live ? null : batch.curve_to_ms,
    height: 420, zoom: true, scene: () => sceneOf(batch.id),
  });
}

const feed = makeFeed();

async function refresh() {
  soon = 0;
  const newer = await fetchPage();
  if (!newer) return;
  putParts(newer);
  if (feed) feed.redraw();
}

function refreshSoon() {
  if (!soon) soon = window.setTimeout(refresh, SOON_MS);
}

/**
 * @param {HTMLFormElement} form @param {string} list @param {object} body @param {string} words
 */
async function post(form, list, body, words) {
  const outcome = await record(`${path}/${list}`, body, words).settled;
  if (outcome.state === "refused") throw outcome.error;
  if (outcome.state === "kept") toast(`${words} is kept here and sent when the connection is back.`);
  form.reset();
  refreshSoon();
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function addMark(form) {
  const kind = field(form, "kind");
  const note = field(form, "note");
  const at = fromField(field(form, "at"));
  return post(form, "events", Object.assign({ kind }, note ? { note } : {}, at ? { at } : {}), kind);
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function replaceMark(form) {
  const at = fromField(field(form, "at"));
  if (!at) throw new Error("The time is missing. Give day and clock.");
  const note = field(form, "note");
  const kind = form.dataset.kind || "";
  return post(form, "events", Object.assign({ kind, at, replaces: form.dataset.replace }, note ? { note } : {}), kind);
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function addWeighing(form) {
  const stream = field(form, "stream");
  const scale = field(form, "from_scale");
  const unit = field(form, "unit");
  const tare = field(form, "tare");
  /** @type {{[key: string]: any}} */
  const body = { stream, as: field(form, "as") };
  if (scale) body.from_scale = scale;
  else body.mass = { value: numberOf(field(form, "mass"), "The mass"), unit };
  if (tare) {
    body.basis = "gross";
    body.tare = /^[-+0-9.,]+$/.test(tare) ? { value: numberOf(tare, "The tare"), unit } : tare;
  }
  return post(form, "weighings", body, `the weighing of ${stream.replace(/_/g, " ")}`);
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function addObservation(form) {
  const quantity = field(form, "quantity");
  /** @type {{[key: string]: any}} */
  const body = { quantity };
  const text = field(form, "text");
  if (quantity === "outcome") body.text = field(form, "outcome");
  else if (quantity === "taste") body.text = text;
  else {
    body.value = numberOf(field(form, "value"), "The value");
    if (field(form, "unit")) body.unit = field(form, "unit");
    if (text) body.text = text;
    if (field(form, "of")) body.of = field(form, "of");
  }
  return post(form, "observations", body, quantity.replace(/_/g, " "));
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function addDeviation(form) {
  const about = form.dataset.actionAbout || "";
  const body = Object.assign({}, about ? { about } : {});
  ["text", "action", "who"].forEach((name) => {
    if (field(form, name)) /** @type {any} */ (body)[name] = field(form, name);
  });
  return post(form, "deviations", body, "the deviation");
}

/** @param {HTMLFormElement} form @returns {Promise<void>} */
function addReview(form) {
  const text = field(form, "text");
  return post(form, "reviews", Object.assign({ who: field(form, "who") }, text ? { text } : {}), "the review");
}

/** Show the fields that the chosen observation needs. */
function fitObservation() {
  const form = document.getElementById("observation-form");
  if (!(form instanceof HTMLFormElement)) return;
  const what = field(form, "quantity");
  const wanted = what === "outcome" ? ["outcome"] : what === "taste" ? ["text"] : ["value", "of", "text"];
  form.querySelectorAll("[data-for]").forEach((row) => {
    if (row instanceof HTMLElement) row.hidden = !wanted.includes(row.dataset.for || "");
  });
  const unit = { brix: "%", hand_temperature: facts.units.temperature, room_temperature: facts.units.temperature, pressure: "hPa", firmness: "N" };
  const select = form.elements.namedItem("unit");
  if (select instanceof HTMLSelectElement) select.value = /** @type {any} */ (unit)[what] || "";
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement)) return;
  const acts = { "mark-form": addMark, "weighing-form": addWeighing, "observation-form": addObservation,
    "deviation-form": addDeviation, "review-form": addReview };
  const act = form.dataset.actionAbout ? addDeviation : form.dataset.replace ? replaceMark : /** @type {any} */ (acts)[form.id];
  if (!act) return;
  event.preventDefault();
  attempt(form, (sent) => Promise.resolve(sent).then(act));
});
document.addEventListener("change", (event) => {
  if (event.target instanceof Element && event.target.id === "see-what") fitObservation();
});
const print = document.getElementById("print");
if (print) print.addEventListener("click", () => window.print());

rememberParts();
listenForMarks(document);
listenForProposals(document);
onMarked(refreshSoon);
onAnswered(refreshSoon);
onPhoto(refreshSoon);
fitObservation();
flush();
const live = new Live(facts.position, {
  onState: showConnection,
  onEvent: (name, data) => {
    if (name === "mark" || name === "proposal") refreshSoon();
    else if (name === "reset" && feed) feed.load();
    else if (name === "reading" && feed && batch.live && data.series === batch.probe && data.quality === "good") {
      const value = calibrated(data);
      if (value !== null) feed.add(Date.parse(data.time), value);
    }
  },
});
live.listenTo({ batches: [batch.id] });
