// SPDX-License-Identifier: MIT
// Sound, speech and a screen that stays on: a browser allows them only after a touch, so the shift
// is started with a button. Imports nothing.

const REPEAT_MS = 6000;
const LATER_EACH = 5;
/** Tones of a call that asks for something now, and of one that tells [Hz]. */
const TONES = { high: [880, 660, 880, 660], medium: [523, 659, 784] };
const TONE_S = 0.2;

/** @type {AudioContext|null} */
let audio = null;
/** @type {Map<string, number>} */
const calling = new Map();
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

/** @param {string} words */
export function speak(words) {
  if (!("speechSynthesis" in window)) return;
  const said = new SpeechSynthesisUtterance(words.replace(/degC|°C/g, "degrees").replace(/degF|°F/g, "degrees Fahrenheit"));
  said.lang = "en";
  window.speechSynthesis.speak(said);
}

/** @returns {boolean} */
export function hasVoice() {
  return "speechSynthesis" in window && window.speechSynthesis.getVoices().length > 0;
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
    if (audio && audio.state === "running") writeCall(audio, audio.currentTime + 0.05, priority);
    if (navigator.vibrate && soundState() !== "off") navigator.vibrate([300, 120, 300]);
    if (soundState() === "running") speak(words);
  };
  calling.set(id, window.setInterval(once, REPEAT_MS));
  once();
}

/** @param {string} id */
export function stopCalling(id) {
  window.clearInterval(calling.get(id));
  calling.delete(id);
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
