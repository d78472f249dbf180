// SPDX-License-Identifier: MIT
// The button that starts the shift, and what it says of sound, voice and screen.

import { keepScreenOn, onSound, soundState, startSound } from "./sound.js";
import { choices, hasVoice, speak } from "./voice.js";

let screenStaysOn = false;

function show() {
  const place = document.getElementById("shift");
  const words = document.getElementById("shift-words");
  const button = document.getElementById("start-shift");
  if (!place || !words || !button) return;
  const on = soundState() === "running";
  place.classList.toggle("on", on);
  place.dataset.sound = soundState();
  button.textContent = on ? "Try the sound" : "Start the shift";
  if (!on) {
    words.textContent = "Sound is off: this page can't call you yet.";
    return;
  }
  const voice = hasVoice() ? "" : " This device has no voice.";
  const screen = screenStaysOn ? "" : " Set the tablet so that its screen stays on.";
  words.textContent = `Sound is on.${voice}${screen}`;
}

async function start() {
  await startSound();
  screenStaysOn = await keepScreenOn();
  if (choices().speak) speak("The shift has begun.");
  show();
}

/** Let the button work. */
export function watchShift() {
  const button = document.getElementById("start-shift");
  if (button) button.addEventListener("click", () => { start(); });
  onSound(show);
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && soundState() !== "off") keepScreenOn().then((kept) => { screenStaysOn = kept; show(); });
  });
  show();
}
