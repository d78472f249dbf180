// SPDX-License-Identifier: MIT
// Photos from the phone's camera. One that can't be sent now is tried again with its own id and time
// for as long as this page stays open; a picture is too large for what a browser keeps of a page.

import { Refusal, newId, showFault } from "./kitchen_api.js";
import { toast } from "./toasts.js";

const RETRY_MS = 4000;
const LONGEST_MS = 60000;
/** @typedef {{path: string, file: Blob, id: string, at: string, of: string, text: string, told: boolean, fault: Element|null}} Photo */
/** @type {Photo[]} */
const waiting = [];
/** @type {Array<() => void>} */
const watchers = [];
let sending = false;

/** @param {() => void} watcher called when a photo is in the record */
export function onPhoto(watcher) {
  watchers.push(watcher);
}

/** @param {Photo} photo @returns {Promise<void>} */
async function send(photo) {
  const query = new URLSearchParams({ id: photo.id, at: photo.at, sent_at: new Date().toISOString() });
  if (photo.of) query.set("of", photo.of);
  if (photo.text) query.set("text", photo.text);
  const giveUp = new AbortController();
  const timer = setTimeout(() => giveUp.abort(), LONGEST_MS);
  try {
    const answer = await fetch(`${photo.path}?${query}`, {
      method: "POST", body: photo.file, credentials: "same-origin", signal: giveUp.signal,
      headers: { Accept: "application/json", "Content-Type": photo.file.type || "image/jpeg" },
    });
    const said = await answer.json();
    if (!answer.ok) throw new Refusal(answer.status, said);
  } finally {
    clearTimeout(timer);
  }
}

/** @param {unknown} error @returns {boolean} whether it may work later as it is */
function mayPass(error) {
  return !(error instanceof Refusal) || error.status >= 500 || error.status === 401;
}

async function flush() {
  if (sending) return;
  sending = true;
  while (waiting.length) {
    const photo = waiting[0];
    try {
      await send(photo);
      waiting.shift();
      toast("The photo is in the record.");
      watchers.forEach((watcher) => watcher());
    } catch (error) {
      if (mayPass(error)) {
        if (!photo.told) toast("The photo is not sent yet. Leave this page open: it is tried again.");
        photo.told = true;
        break;
      }
      waiting.shift();
      if (photo.fault) showFault(photo.fault, error);
      else toast(error instanceof Refusal ? `${error.message} ${error.todo}` : String(error));
    }
  }
  sending = false;
}

/** @param {HTMLInputElement} input */
function take(input) {
  const file = input.files && input.files[0];
  if (!file) return;
  const form = input.closest("form");
  const of = form ? form.querySelector("select[name=of_record]") : null;
  const text = form ? form.querySelector("input[name=photo_text]") : null;
  const fault = form ? form.querySelector(".fault") : null;
  showFault(fault);
  waiting.push({
    path: `/v1/batches/${input.dataset.photo}/photos`, file, id: newId(), at: new Date().toISOString(),
    of: of instanceof HTMLSelectElement ? of.value : input.dataset.of || "",
    text: text instanceof HTMLInputElement ? text.value.trim() : "", told: false, fault,
  });
  input.value = "";
  if (text instanceof HTMLInputElement) text.value = "";
  toast("Sending the photo.");
  flush();
}

document.addEventListener("change", (event) => {
  if (event.target instanceof HTMLInputElement && event.target.dataset.photo) take(event.target);
});
setInterval(flush, RETRY_MS);
window.addEventListener("online", () => { flush(); });
window.addEventListener("beforeunload", (event) => {
  if (waiting.length) event.preventDefault();
});
