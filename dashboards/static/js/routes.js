// SPDX-License-Identifier: MIT
// Notice routes: add one, send a test by one. A locked phone hears only what goes by a route.

import { call, newId, Refusal } from "./kitchen_api.js";
import { attempt, field } from "./forms.js";

/** @param {HTMLElement} button */
async function test(button) {
  const line = button.closest("li");
  const result = line ? line.querySelector(".result") : null;
  if (!result) return;
  button.setAttribute("disabled", "");
  result.textContent = "Sending …";
  try {
    const said = await call("POST", `/v1/notices/routes/${button.dataset.testRoute}/test`, {});
    result.textContent = said.taken
      ? "It was taken. Look whether it arrived."
      : `It was not taken: ${said.answer} Nobody is called by this route.`;
  } catch (error) {
    const todo = error instanceof Refusal ? ` ${error.todo}` : "";
    result.textContent = `It was not sent: ${error instanceof Error ? error.message : error}${todo}`;
  } finally {
    button.removeAttribute("disabled");
  }
}

/** @param {string} id @param {HTMLElement} button */
async function remove(id, button) {
  const line = button.closest("li");
  const result = line ? line.querySelector(".result") : null;
  try {
    await call("POST", "/v1/notices/routes", { withdraws: id });
  } catch (error) {
    if (result) result.textContent = error instanceof Error ? error.message : String(error);
  }
}

/** @param {HTMLSelectElement} choice how often a route is told that the watch is alive */
async function setAlive(choice) {
  const line = choice.closest("li");
  const result = line ? line.querySelector(".result") : null;
  const minutes = Number(choice.value) || null;
  try {
    await call("POST", `/v1/notices/routes/${choice.dataset.aliveRoute}/alive`, { every_min: minutes, tell_stop: minutes !== null });
  } catch (error) {
    if (result) result.textContent = error instanceof Error ? error.message : String(error);
  }
}

/** @param {HTMLFormElement} form */
async function add(form) {
  const name = field(form, "name");
  const address = field(form, "address");
  if (!name || !address) throw new Error("A route needs a name and an address.");
  await call("POST", "/v1/notices/routes", { id: newId(), name, address });
  form.reset();
}

/** The section is written anew by the server, so one listener serves whatever stands there.
 * @param {() => void} afterChange */
export function watchRoutes(afterChange) {
  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!(button instanceof HTMLElement)) return;
    if (button.dataset.testRoute) test(button);
    if (button.dataset.removeRoute) remove(button.dataset.removeRoute, button).then(afterChange);
  });
  document.addEventListener("change", (event) => {
    const choice = event.target;
    if (choice instanceof HTMLSelectElement && choice.dataset.aliveRoute) setAlive(choice).then(afterChange);
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || form.id !== "route-form") return;
    event.preventDefault();
    attempt(form, (sent) => add(sent).then(afterChange));
  });
}
