// SPDX-License-Identifier: MIT
// A weighing that a scale offers: taken or left by one touch, and either can be undone.

import { tellRefusal, undo } from "./marks.js";
import { record } from "./outbox.js";
import { toast } from "./toasts.js";

/** @param {HTMLElement} button @param {(batch: string) => void} after */
async function answer(button, after) {
  const { take, leave, words } = button.dataset;
  const owner = button.closest("[data-batch]");
  const batch = owner instanceof HTMLElement ? owner.dataset.batch || "" : "";
  const box = button.closest("[data-proposal]");
  if (box) box.querySelectorAll("button").forEach((one) => one.setAttribute("disabled", ""));
  const list = `offers/${take || leave}`;
  const { id, settled } = record(`/v1/batches/${batch}/${list}/${take ? "accept" : "dismiss"}`, {}, words || "", true);
  const outcome = await settled;
  if (outcome.state === "refused") tellRefusal(words || "The weighing", outcome.error);
  else if (outcome.state === "kept") toast(`${words} is kept here and sent later.`);
  else {
    const made = outcome.answer && outcome.answer.id ? outcome.answer.id : id;
    const undone = take ? "weighings" : `${list}/dismiss`;
    const press = () => undo(batch, made, undone, words || "");
    toast(take ? `${words} weighed.` : `${words} is left.`, { label: "Undo", press });
  }
  after(batch);
}

/** Let the buttons of offers work. @param {(batch: string) => void} after */
export function listenForOffers(after) {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button instanceof HTMLElement && (button.dataset.take || button.dataset.leave)) answer(button, after);
  });
}
