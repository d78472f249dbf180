// SPDX-License-Identifier: MIT
// Sound and a screen that stays on: a browser allows them only after a touch, so the shift is started
// with a button. What calls also frames the page and stands large on top.

import { endCall, quietNow, speakCall } from "./voice.js";

const REPEAT_MS = 6000;
const LATER_EACH = 5;
/** Tones of a call that asks for something now, and of one that tells [Hz]. */
const TONES = { high: [880, 660, 880, 660], medium: [523, 659, 784] };
const TONE_S = 0.2;

/** @type {AudioContext|null} */
let audio = null;
/** @type {Map<string, number>} */
const calling = new Map();
/** @type {Map<string, string>} the priority of each call */
const priorities = new Map();
/** @type {Array<() => void>} */
const watchers = [];

/** @returns {string} "off", "running", "suspended" … */
export function soundState() {
  return audio ? audio.state : "off";
}

/** @param {() => void} watcher */
export function onSound(watcher) {
  watchers.push(watcher);
}

/**
 * Write one call into a sound graph.
 * @param {BaseAudioContext} context
 * @param {number} at [s]
 * @param {string} priority "high" or "medium"
 */
export function writeCall(context, at, priority) {
  const tones = priority === "high" ? TONES.high : TONES.medium;
  tones.forEach((pitch, index) => {
    const tone = context.createOscillator();
    const volume = context.createGain();
    const begin = at + index * TONE_S * 1.15;
    tone.type = "triangle";
    tone.frequency.value = pitch;
    volume.gain.setValueAtTime(0, begin);
    volume.gain.linearRampToValueAtTime(0.9, begin + 0.02);
    volume.gain.setValueAtTime(0.9, begin + TONE_S - 0.04);
    volume.gain.linearRampToValueAtTime(0, begin + TONE_S);
    tone.connect(volume);
    volume.connect(context.destination);
    tone.start(begin);
    tone.stop(begin + TONE_S);
  });
}

/** Begin: called from a touch. @returns {Promise<void>} */
export async function startSound() {
  const Context = window.AudioContext || /** @type {any} */ (window).webkitAudioContext;
  if (!audio && Context) {
    audio = new Context();
    audio.onstatechange = () => watchers.forEach((watcher) => watcher());
  }
  if (audio) {
    await audio.resume();
    writeCall(audio, audio.currentTime + 0.05, "medium");
  }
  watchers.forEach((watcher) => watcher());
}

/**
 * Call until somebody has heard: every six seconds for what asks for something now; for what tells,
 * twice and then every half minute; for what is of low priority once.
 * @param {string} id
 * @param {string} words
 * @param {string} priority
 */
export function startCalling(id, words, priority) {
  if (calling.has(id)) return;
  let turns = 0;
  const once = () => {
    turns += 1;
    if (turns > 1 && priority === "low") return;
    if (turns > 2 && priority === "medium" && turns % LATER_EACH !== 0) return;
    if (quietNow()) return;
    if (audio && audio.state === "running") writeCall(audio, audio.currentTime + 0.05, priority);
    if (navigator.vibrate && soundState() !== "off") navigator.vibrate([300, 120, 300]);
    if (soundState() === "running") speakCall(id, words);
  };
  calling.set(id, window.setInterval(once, REPEAT_MS));
  priorities.set(id, priority);
  frame();
  once();
}

/** Frame the page while something calls, for who can't hear it; the call itself stands on top. */
function frame() {
  const calls = Array.from(priorities.values());
  const first = calls.includes("high") ? "high" : calls[calls.length - 1];
  if (first) document.body.dataset.calling = first;
  else delete document.body.dataset.calling;
}

/** @param {string} id */
export function stopCalling(id) {
  if (!calling.has(id)) return;
  window.clearInterval(calling.get(id));
  calling.delete(id);
  priorities.delete(id);
  endCall(id);
  frame();
}

/** @returns {Promise<boolean>} whether the screen now stays on by itself */
export async function keepScreenOn() {
  const lock = /** @type {any} */ (navigator).wakeLock;
  if (!lock) return false;
  try {
    await lock.request("screen");
    return true;
  } catch (error) {
    return false;
  }
}
