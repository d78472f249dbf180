// SPDX-License-Identifier: MIT
// What the detector suggests: accepted or refused by one touch, and either can be undone.

import { markLabel, tellRefusal, undo } from "./marks.js";
import { record } from "./outbox.js";
import { toast } from "./toasts.js";

const ASK_MS = 5000;
/** @type {(batch: string, kind: string) => void} */
let afterAnswer = () => {};

/** @param {(batch: string, kind: string) => void} callback called after an answer was sent */
export function onAnswered(callback) {
  afterAnswer = callback;
}

/** @param {string} batch @param {string} number @param {string} kind @param {string} clock */
async function accept(batch, number, kind, clock) {
  const words = `${markLabel(kind)} ${clock}`;
  const { id, settled } = record(`/v1/batches/${batch}/proposals/${number}/accept`, {}, words, true);
  if (navigator.vibrate) navigator.vibrate(60);
  const outcome = await settled;
  if (outcome.state === "refused") tellRefusal(words, outcome.error);
  else if (outcome.state === "kept") toast(`${words} is kept here and accepted later.`);
  else {
    const made = outcome.answer && outcome.answer.id ? outcome.answer.id : id;
    toast(`${markLabel(kind)} marked at ${clock}.`, { label: "Undo", press: () => undo(batch, made, "events", words) });
  }
  afterAnswer(batch, kind);
}

/** @param {string} batch @param {string} number @param {string} kind @param {string} clock */
async function dismiss(batch, number, kind, clock) {
  const words = `not so: ${markLabel(kind)} ${clock}`;
  const list = `proposals/${number}/dismiss`;
  const { id, settled } = record(`/v1/batches/${batch}/${list}`, {}, words, true);
  const outcome = await settled;
  if (outcome.state === "refused") tellRefusal(words, outcome.error);
  else {
    const dismissal = outcome.answer && outcome.answer.dismissal ? outcome.answer.dismissal.id : id;
    toast(`Taken as not so: ${markLabel(kind)} ${clock}.`, { label: "Undo", press: () => undo(batch, dismissal, list, words) });
  }
  afterAnswer(batch, "");
}

/** An end closes the batch, so it asks for a second press. @param {HTMLElement} button
 * @returns {boolean} whether it was pressed for the second time */
function meant(button) {
  if (button.dataset.kind !== "end" || button.classList.contains("asking")) return true;
  const words = button.innerHTML;
  button.classList.add("asking");
  button.textContent = "Press again: it closes the batch";
  setTimeout(() => {
    button.classList.remove("asking");
    button.innerHTML = words;
  }, ASK_MS);
  return false;
}

/** Let the buttons of proposals work. @param {Document|Element} root */
export function listenForProposals(root) {
  root.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    const owner = button ? button.closest("[data-batch]") : null;
    if (!(button instanceof HTMLElement) || !(owner instanceof HTMLElement)) return;
    const { accept: yes, dismiss: no, kind, clock } = button.dataset;
    if ((!yes && !no) || (yes && !meant(button))) return;
    const line = button.closest("[data-proposal]");
    if (line) line.querySelectorAll("button").forEach((one) => one.setAttribute("disabled", ""));
    const batch = owner.dataset.batch || "";
    if (yes) accept(batch, yes, kind || "", clock || "");
    else if (no) dismiss(batch, no, kind || "", clock || "");
  });
}
