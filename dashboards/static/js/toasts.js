// SPDX-License-Identifier: MIT
// Short messages at the foot of the page, each with at most one button. Imports nothing.

const LASTS_MS = 10000;

/**
 * @param {string} words
 * @param {{label: string, press: () => void}} [button]
 * @param {number} [lastsMs]
 */
export function toast(words, button, lastsMs) {
  const place = document.getElementById("toasts");
  if (!place) return;
  while (place.children.length > 2) place.children[0].remove();
  const box = document.createElement("div");
  box.className = "toast";
  const text = document.createElement("p");
  text.textContent = words;
  box.append(text);
  if (button) {
    const pressed = document.createElement("button");
    pressed.type = "button";
    pressed.textContent = button.label;
    pressed.addEventListener("click", () => {
      box.remove();
      button.press();
    });
    box.append(pressed);
  }
  place.append(box);
  setTimeout(() => box.remove(), lastsMs || LASTS_MS);
}
