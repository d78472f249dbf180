// SPDX-License-Identifier: MIT
// Notices on the open page: shown, sounded and spoken until somebody has heard.

import { clockText, kitchenNow } from "./clock.js";
import { record } from "./outbox.js";
import { startCalling, stopCalling } from "./sound.js";

const SOUNDS_FOR_MS = 120000;
const SETTLED_MS = 3000;
const KEY = "curdwright.heard";

/** @returns {string[]} notices that were heard on this device */
function heard() {
  try {
    return JSON.parse(localStorage.getItem(KEY) || "[]");
  } catch (error) {
    return [];
  }
}

/** @param {string} id */
function remember(id) {
  try {
    localStorage.setItem(KEY, JSON.stringify(heard().concat([id]).slice(-200)));
  } catch (error) {
    // Without storage it is shown again after a reload, which harms nobody.
  }
}

/** @param {string} id put a notice away on this page */
function putAway(id) {
  stopCalling(id);
  const box = document.getElementById(`notice-${id}`);
  if (box) box.remove();
}

/** Whoever marks something at a pot stands beside it: its calls fall silent, and stay to be read.
 * @param {string} batch */
export function hushNotices(batch) {
  document.querySelectorAll(`.alarm[data-of="${batch}"]`).forEach((box) => stopCalling(box.id.replace(/^notice-/, "")));
}

/** Show the notices that nobody has acknowledged; put away what was heard on another device.
 * @param {import("./facts.js").Notice[]} standing */
export function showNotices(standing) {
  document.querySelectorAll(".alarm").forEach((box) => {
    const id = box.id.replace(/^notice-/, "");
    const shownForMs = Date.now() - Number(box.getAttribute("data-shown-at"));
    if (shownForMs > SETTLED_MS && !standing.some((notice) => notice.id === id)) putAway(id);
  });
  standing.forEach(showNotice);
}

/** Show a notice, or put it away when another device says that it was heard.
 * @param {import("./facts.js").Notice} notice */
export function showNotice(notice) {
  if (notice.state === "acknowledged") {
    putAway(notice.id);
    return;
  }
  const list = document.getElementById("alarm-list");
  if (!list || heard().includes(notice.id) || document.getElementById(`notice-${notice.id}`)) return;
  const words = String(notice.text || notice.title || "A notice").replace(/degC/g, "°C").replace(/degF/g, "°F");
  const at = notice.at ? Date.parse(notice.at) : kitchenNow();
  const box = document.createElement("div");
  box.className = "alarm";
  box.setAttribute("data-shown-at", String(Date.now()));
  box.setAttribute("data-of", notice.batch);
  box.id = `notice-${notice.id}`;
  const text = document.createElement("p");
  text.textContent = `${words} `;
  const time = document.createElement("time");
  time.textContent = clockText(at, true);
  text.append(time);
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Heard";
  button.addEventListener("click", () => {
    remember(notice.id);
    putAway(notice.id);
    record(`/v1/alarms/${notice.id}/acknowledge`, {}, "an acknowledgement", true);
  });
  box.append(text, button);
  list.prepend(box);
  if (kitchenNow() - at < SOUNDS_FOR_MS) startCalling(notice.id, words, notice.priority);
}
