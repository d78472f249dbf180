// SPDX-License-Identifier: MIT
// The editor of a recipe: what it comes to while one types, and what was typed kept over a
// reload until it is saved.

import { facts } from "./facts.js";
import { call, newId, Refusal, showFault } from "./kitchen_api.js";
import { bodyOf, FieldFault, fieldOf, rawOf } from "./recipe_form.js";
import { addRow, fieldAt, form, gather, show, tidy } from "./recipe_rows.js";
import { dropDraft, keepDraft, keptDraft } from "./drafts.js";

const TYPING_MS = 400;
const { recipe, recipe_id: recipeId, units } = /** @type {any} */ (facts);
const KEY = recipeId ? `recipe_${recipeId}` : `recipe_new${location.search}`;
let base = recipeId ? recipe.version : null;
let sentId = newId();
let turn = 0;

/** @param {unknown} error @param {Element|null} place */
function tell(error, place) {
  showFault(place, error);
  const path = error instanceof FieldFault ? error.field : error instanceof Refusal ? fieldOf(error.where) : null;
  const field = path ? fieldAt(path) : null;
  if (!field) {
    if (place instanceof HTMLElement) place.focus();
    return;
  }
  const part = field.closest("details");
  if (part) {
    part.hidden = false;
    part.open = true;
  }
  field.setAttribute("aria-invalid", "true");
  field.focus();
}

/** Write what the recipe comes to, as soon as it can be told. */
async function reckon() {
  turn += 1;
  const mine = turn;
  const words = document.getElementById("reckoning");
  const dose = document.getElementById("dose-line");
  const place = document.getElementById("reckoned");
  if (!words || !place || !dose) return;
  try {
    const raw = gather(form);
    const body = bodyOf({ ...raw, name: raw.name.trim() || "unnamed", who: "" });
    const said = await call("POST", "/recipes/reckoned", { recipe: body, ...(recipeId ? { recipe_id: recipeId } : {}) });
    if (mine !== turn) return;
    place.innerHTML = said.html; // written and escaped by our own server
    words.textContent = "";
    const three = Array.from(place.querySelectorAll(".three > div")).map((one) => {
      const figure = one.querySelector(".quantity:not(.absent) b");
      return figure ? `${figure.textContent} ${(one.querySelector("dt") || one).textContent}` : "";
    });
    dose.textContent = three.filter(Boolean).join(" · ");
  } catch (error) {
    if (mine !== turn) return;
    dose.textContent = "";
    words.textContent = `Not reckoned yet: ${error instanceof Error ? error.message : error}`;
  }
}

let timer = 0;
/** Something was changed: keep it here, and reckon anew. */
function changed() {
  tidy();
  const words = document.getElementById("saved-words");
  const held = keepDraft(KEY, { raw: gather(form), base, at: new Date().toISOString() });
  if (words) words.textContent = held ? "Not saved yet; kept in this browser." : "Not saved yet, and this browser keeps nothing: save before you leave.";
  sentId = newId();
  clearTimeout(timer);
  timer = setTimeout(reckon, TYPING_MS);
}

form.addEventListener("input", (event) => {
  if (event.target instanceof Element) event.target.removeAttribute("aria-invalid");
  changed();
});

form.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button") : null;
  if (!button) return;
  const row = button.closest("[data-row]");
  if (row && button.dataset.openPart) {
    const part = row.querySelector(`[data-part-of="${button.dataset.openPart}"]`);
    if (!(part instanceof HTMLDetailsElement)) return;
    part.hidden = false;
    part.open = true;
    const list = part.querySelector('[data-list="amounts"]');
    if (list && !list.children.length) addRow(list, "amounts");
    tidy();
    const first = part.querySelector("[data-field]");
    if (first instanceof HTMLElement) first.focus();
    return;
  }
  if (button.dataset.add) {
    const scope = row || form;
    const list = scope.querySelector(`[data-list="${button.dataset.add}"]`);
    if (!list) return;
    const made = addRow(list, button.dataset.add);
    const first = made.querySelector("[data-field]");
    if (first instanceof HTMLElement) first.focus();
  } else if (row && "remove" in button.dataset) {
    const next = row.nextElementSibling || row.previousElementSibling;
    const beside = next ? next.querySelector("[data-field]") : row.parentElement && row.parentElement.parentElement ? row.parentElement.parentElement.querySelector("[data-add]") : null;
    row.remove();
    if (beside instanceof HTMLElement) beside.focus();
  } else if (row && "up" in button.dataset && row.previousElementSibling) {
    row.previousElementSibling.before(row);
    button.focus();
  } else if (row && "down" in button.dataset && row.nextElementSibling) {
    row.nextElementSibling.after(row);
    button.focus();
  } else return;
  changed();
});

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const place = form.querySelector(".fault");
  const button = form.querySelector("button[type=submit]");
  showFault(place);
  form.querySelectorAll("[aria-invalid]").forEach((one) => one.removeAttribute("aria-invalid"));
  if (button instanceof HTMLButtonElement) button.disabled = true;
  try {
    const body = { ...bodyOf(gather(form)), id: sentId, ...(base ? { replaces_version: base } : {}) };
    const made = await call("POST", recipeId ? `/v1/recipes/${recipeId}` : "/v1/recipes", body);
    dropDraft(KEY);
    location.assign(`/recipes/${made.id}`);
  } catch (error) {
    if (button instanceof HTMLButtonElement) button.disabled = false;
    tell(error, place);
    if (error instanceof Refusal && error.status === 409 && error.where === "version") offerNext(place);
  }
});

/** Another version was saved meanwhile: let the maker look at it, then save over it. @param {Element|null} place */
async function offerNext(place) {
  if (!(place instanceof HTMLElement)) return;
  const latest = await call("GET", `/v1/recipes/${recipeId}`);
  const line = document.createElement("span");
  line.className = "do";
  const look = document.createElement("a");
  look.href = `/recipes/${recipeId}`;
  look.target = "_blank";
  look.textContent = `Look at version ${latest.version}`;
  const over = document.createElement("button");
  over.type = "button";
  over.className = "second";
  over.textContent = `Save mine as version ${latest.version + 1}`;
  over.addEventListener("click", () => {
    base = latest.version;
    sentId = newId();
    form.requestSubmit ? form.requestSubmit() : form.dispatchEvent(new Event("submit", { cancelable: true }));
  });
  line.append(look, " ", over);
  place.append(line);
}

const discard = document.getElementById("discard");
if (discard) discard.addEventListener("click", () => {
  dropDraft(KEY);
  location.reload();
});

/** Begin with what was typed here before, else with the recipe as it stands. */
function begin() {
  const draft = keptDraft(KEY);
  if (!draft || !draft.raw) {
    show(rawOf(recipe, units));
    return;
  }
  show(draft.raw);
  const behind = recipeId && draft.base < recipe.version;
  base = draft.base;
  const box = document.getElementById("kept");
  const words = box ? box.querySelector(".words") : null;
  if (!box || !words) return;
  box.hidden = false;
  const at = new Date(draft.at).toLocaleString([], { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  words.textContent = `These changes of ${at} were not saved; this browser kept them.${behind ? ` They were made to version ${draft.base}; version ${recipe.version} was saved since.` : ""}`;
}

begin();
reckon();
