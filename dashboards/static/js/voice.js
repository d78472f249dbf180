// SPDX-License-Identifier: MIT
// The voice of the page, and its quiet hours. What is chosen is kept on this device.

import { clockText, kitchenNow } from "./clock.js";
import { spokenWords } from "./spoken.js";

const KEY = "curdwright.voice";
const CHOICES = { speak: true, again_s: 0, quiet_from: "", quiet_to: "" };
const A_NEW_CALL_MS = 60000;
/** @type {Map<string, number>} when each call was last said [ms] */
const said = new Map();
/** @type {Set<string>} calls that are over; the same alarm may call anew */
const over = new Set();
let speaking = "";
/** @type {typeof CHOICES|null} */
let kept = null;

/** @returns {typeof CHOICES} */
export function choices() {
  if (!kept) {
    try {
      kept = Object.assign({}, CHOICES, JSON.parse(localStorage.getItem(KEY) || "{}"));
    } catch (error) {
      kept = Object.assign({}, CHOICES);
    }
  }
  return /** @type {typeof CHOICES} */ (kept);
}

/** @param {Partial<typeof CHOICES>} changed */
function choose(changed) {
  kept = Object.assign({}, choices(), changed);
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
  } catch (error) {
    // Without storage it holds until the page is loaded again.
  }
}

/** Whether these are quiet hours, by the kitchen's clock. @param {string} [now] "HH:MM" */
export function quietNow(now) {
  const { quiet_from: from, quiet_to: to } = choices();
  if (!from || !to || from === to) return false;
  const time = now || clockText(kitchenNow());
  return from < to ? from <= time && time < to : from <= time || time < to;
}

/** @param {string} words */
export function speak(words) {
  if (!("speechSynthesis" in window)) return;
  const utterance = new SpeechSynthesisUtterance(words);
  utterance.lang = "en";
  window.speechSynthesis.speak(utterance);
}

/** @returns {boolean} */
export function hasVoice() {
  return "speechSynthesis" in window && window.speechSynthesis.getVoices().length > 0;
}

/** Say a call: once, and again as often as was chosen. @param {string} id @param {string} words */
export function speakCall(id, words) {
  const { speak: wanted, again_s: again } = choices();
  const before = said.get(id);
  const passed = before === undefined ? Infinity : Date.now() - before;
  const due = over.has(id) ? passed >= A_NEW_CALL_MS : before === undefined || (again > 0 && passed >= again * 1000 - 500);
  if (!wanted || !due) return;
  over.delete(id);
  said.set(id, Date.now());
  speaking = id;
  speak(spokenWords(words));
}

/** A call is over: what is being said of it ends. @param {string} id */
export function endCall(id) {
  if (said.has(id)) over.add(id);
  if (speaking === id && "speechSynthesis" in window) window.speechSynthesis.cancel();
  if (speaking === id) speaking = "";
}

function show() {
  const form = document.getElementById("voice-form");
  if (!(form instanceof HTMLFormElement)) return;
  const now = choices();
  const part = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
  part("speak").checked = now.speak;
  part("again_s").value = String(now.again_s);
  part("quiet_from").value = now.quiet_from;
  part("quiet_to").value = now.quiet_to;
  const words = document.getElementById("voice-words");
  if (!words) return;
  const half = Boolean(now.quiet_from) !== Boolean(now.quiet_to);
  words.textContent = half ? "Give both times: quiet hours need a beginning and an end."
    : quietNow() ? "These are quiet hours: this page shows alarms, and neither sounds nor speaks."
      : hasVoice() ? "" : "This device has no voice of its own; it sounds all the same.";
}

/** Let the form of the voice work. */
export function watchVoice() {
  const form = document.getElementById("voice-form");
  if (!(form instanceof HTMLFormElement)) return;
  form.addEventListener("change", () => {
    const sent = new FormData(form);
    choose({
      speak: sent.has("speak"),
      again_s: Number(sent.get("again_s")) || 0,
      quiet_from: String(sent.get("quiet_from") || ""),
      quiet_to: String(sent.get("quiet_to") || ""),
    });
    show();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    speak(spokenWords("North pot, 82 degC. Add the coagulant now.", "degC").replace(/^/, "For instance: "));
  });
  if ("speechSynthesis" in window) window.speechSynthesis.addEventListener("voiceschanged", show);
  show();
}
