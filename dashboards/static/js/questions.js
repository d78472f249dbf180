// SPDX-License-Identifier: MIT
// A pot has begun to heat: one touch starts its batch, or says that it is none.

import { tellRefusal } from "./marks.js";
import { record } from "./outbox.js";
import { toast } from "./toasts.js";

/** @param {HTMLElement} button @param {() => void} after */
async function answer(button, after) {
  const { startQuestion: start, refuseQuestion: refuse, join, recipe } = button.dataset;
  const box = button.closest(".question");
  if (box) box.querySelectorAll("button").forEach((one) => one.setAttribute("disabled", ""));
  const path = `/v1/questions/${start || refuse}/${start ? "start" : "dismiss"}`;
  const words = start ? "The start of a batch" : "That it is no batch";
  const outcome = await record(path, start && join ? { batch: join } : start && recipe ? { recipe } : {}, words, true).settled;
  if (outcome.state === "refused") tellRefusal(words, outcome.error);
  else if (outcome.state === "kept") toast(`${words} is kept here and sent later.`);
  else toast(start ? "The batch has started, when its heat came on." : "It is taken as no batch.");
  after();
}

/** Let the buttons of questions work. @param {() => void} after called when one was answered */
export function listenForQuestions(after) {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!(button instanceof HTMLElement)) return;
    if (button.dataset.startQuestion || button.dataset.refuseQuestion) answer(button, after);
  });
}
