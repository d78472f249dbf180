// SPDX-License-Identifier: MIT
// A key, or a foot pedal that acts as one, marks the next expected mark of one pot.

import { batchFacts, facts } from "./facts.js";
import { mark } from "./marks.js";
import { toast } from "./toasts.js";

const KEY = "curdwright.key";
const PAUSE_MS = 3000;
let choosing = false;
let lastAt = 0;
let forBatch = "";

/** @returns {string} "" if none is chosen */
function chosen() {
  try {
    return localStorage.getItem(KEY) || "";
  } catch (error) {
    return "";
  }
}

/** @param {string} key */
function choose(key) {
  try {
    localStorage.setItem(KEY, key);
  } catch (error) {
    toast("This browser keeps nothing, so the key can't be kept.");
  }
  show();
}

function show() {
  const words = document.getElementById("chosen-key");
  const forget = document.getElementById("forget-key");
  if (!words || !forget) return;
  const key = chosen();
  forget.hidden = !key;
  if (choosing) words.textContent = "Press the key or the pedal now.";
  else words.textContent = key ? `The key “${key === " " ? "space" : key}” marks.` : "No key is chosen.";
}

/** @returns {string} the batch that the key marks for */
function keyBatch() {
  if (batchFacts(forBatch)) return forBatch;
  return facts.batches.length ? facts.batches[0].id : "";
}

/** The choice was written anew by the server: put the reader's own back. */
export function keepKeyBatch() {
  const select = document.getElementById("key-batch");
  if (select instanceof HTMLSelectElement) select.value = keyBatch();
}

/** @param {KeyboardEvent} event */
function pressed(event) {
  if (event.repeat) return;
  if (choosing) {
    choosing = false;
    event.preventDefault();
    if (event.key === "Escape") show();
    else choose(event.key);
    return;
  }
  const inField = event.target instanceof Element && event.target.closest("input, select, textarea");
  if (inField || event.key !== chosen() || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  const batch = batchFacts(keyBatch());
  if (!batch || !batch.expected) { toast("No mark is expected now."); return; }
  if (batch.expected === "end") { toast("The end of a batch is marked by touch."); return; }
  if (Date.now() - lastAt < PAUSE_MS) { toast("That press came within 3 s of the last: nothing was marked."); return; }
  lastAt = Date.now();
  mark(batch.id, batch.expected);
}

/** Let the key work, and its choice. */
export function watchKey() {
  const button = document.getElementById("choose-key");
  const forget = document.getElementById("forget-key");
  if (button) button.addEventListener("click", () => { choosing = true; button.blur(); show(); });
  if (forget) forget.addEventListener("click", () => choose(""));
  document.addEventListener("change", (event) => {
    const select = event.target;
    if (select instanceof HTMLSelectElement && select.id === "key-batch") forBatch = select.value;
  });
  document.addEventListener("keydown", pressed);
  show();
}
