// SPDX-License-Identifier: MIT
// Marks by touch: one press records what has just happened, with its own time, and can be undone.

import { clockText } from "./clock.js";
import { record, waiting } from "./outbox.js";
import { Refusal } from "./kitchen_api.js";
import { toast } from "./toasts.js";

const ASK_MS = 5000;
/** @type {(batch: string, kind: string) => void} */
let afterMark = () => {};

/** @param {(batch: string, kind: string) => void} callback called after a mark or an undo was sent */
export function onMarked(callback) {
  afterMark = callback;
}

/** @param {string} kind @returns {string} */
export function markLabel(kind) {
  const words = kind.replace(/_/g, " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/**
 * Mark that something has just happened.
 * @param {string} batch
 * @param {string} kind
 * @param {string} [note]
 */
export async function mark(batch, kind, note) {
  const words = `${markLabel(kind)} ${clockText(Date.now(), true)}`;
  const body = note ? { kind, note } : { kind };
  const { id, made_ms, settled } = record(`/v1/batches/${batch}/events`, body, words);
  toast(`${markLabel(kind)} marked at ${clockText(made_ms, true)}.`, {
    label: "Undo",
    press: () => undo(batch, id, "events", words),
  });
  if (navigator.vibrate) navigator.vibrate(60);
  const outcome = await settled;
  if (outcome.state === "refused") tellRefusal(markLabel(kind), outcome.error);
  afterMark(batch, kind);
}

/**
 * Take a record back; it stays readable in the batch's history.
 * @param {string} batch
 * @param {string} id
 * @param {string} list "events", "weighings" or "observations"
 * @param {string} words
 */
export async function undo(batch, id, list, words) {
  const { settled } = record(`/v1/batches/${batch}/${list}`, { withdraws: id, why: "undo" }, `undo: ${words}`);
  const outcome = await settled;
  if (outcome.state === "refused") tellRefusal(`Undo of ${words}`, outcome.error);
  else toast(outcome.state === "sent" ? `Undone: ${words}.` : `Undo of ${words} is kept here and sent later.`);
  afterMark(batch, "");
}

/** @param {string} what @param {unknown} error */
export function tellRefusal(what, error) {
  const todo = error instanceof Refusal ? ` ${error.todo}` : "";
  const why = error instanceof Error ? error.message : String(error);
  toast(`${what} was not recorded: ${why}${todo}`, { label: "Close", press: () => {} }, 60000);
}

/** Let buttons of a part of the page mark and undo. @param {Document|Element} root */
export function listenForMarks(root) {
  root.addEventListener("submit", sendNote);
  root.addEventListener("click", (event) => {
    const target = event.target instanceof Element ? event.target.closest("button") : null;
    const owner = target ? target.closest("[data-batch]") : null;
    if (!(target instanceof HTMLElement) || !(owner instanceof HTMLElement)) return;
    const batch = owner.dataset.batch || "";
    if (target.dataset.mark) pressMark(target, batch, target.dataset.mark);
    else if (target.dataset.undo) pressUndo(target, batch, target.dataset.undo, "events");
    else if (target.dataset.undoWeighing) pressUndo(target, batch, target.dataset.undoWeighing, "weighings");
    else if (target.dataset.undoObservation) pressUndo(target, batch, target.dataset.undoObservation, "observations");
    else if (target.dataset.undoDeviation) pressUndo(target, batch, target.dataset.undoDeviation, "deviations");
    else if (target.dataset.undoReview) pressUndo(target, batch, target.dataset.undoReview, "reviews");
  });
}

/** @param {HTMLElement} button @param {string} batch @param {string} id @param {string} list */
function pressUndo(button, batch, id, list) {
  button.setAttribute("disabled", "");
  const line = button.closest("li, tr");
  const named = line ? line.querySelector("b, th") : null;
  undo(batch, id, list, named && named.textContent ? named.textContent : "the record");
}

/** An end closes the batch, so it asks for a second press. @param {HTMLElement} button
 * @param {string} batch @param {string} kind */
function pressMark(button, batch, kind) {
  if (kind !== "end" || button.classList.contains("asking")) {
    button.classList.remove("asking");
    mark(batch, kind);
    return;
  }
  const hint = button.querySelector(".hint");
  const before = hint ? hint.textContent : "";
  button.classList.add("asking");
  if (hint) hint.textContent = "press again: it closes the batch";
  setTimeout(() => {
    button.classList.remove("asking");
    if (hint) hint.textContent = before;
  }, ASK_MS);
}

/** @param {Event} event a note is a mark with words */
function sendNote(event) {
  const form = event.target;
  const owner = form instanceof Element ? form.closest("[data-batch]") : null;
  if (!(form instanceof HTMLFormElement) || form.dataset.note === undefined) return;
  event.preventDefault();
  const field = form.elements.namedItem("note");
  if (!(field instanceof HTMLInputElement) || !field.value.trim() || !(owner instanceof HTMLElement)) return;
  mark(owner.dataset.batch || "", "note", field.value.trim());
  form.reset();
}

/** Show in each card the marks that wait to be sent. */
export function showWaiting() {
  document.querySelectorAll("li.waiting").forEach((line) => line.remove());
  waiting().forEach((item) => {
    const found = /^\/v1\/batches\/([^/]+)\/events$/.exec(item.path);
    const list = found ? document.querySelector(`[data-batch="${found[1]}"] .recent`) : null;
    if (!list) return;
    const line = document.createElement("li");
    line.className = "waiting";
    line.textContent = item.refused
      ? `${item.words}: not recorded. ${item.refused}`
      : `${item.words}: kept here, not sent yet`;
    list.prepend(line);
  });
}
