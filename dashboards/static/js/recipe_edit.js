// SPDX-License-Identifier: MIT
// The editor of a recipe: rows, what it comes to while one types, and what was typed kept over a
// reload until it is saved.

import { facts } from "./facts.js";
import { call, newId, Refusal, showFault } from "./kitchen_api.js";
import { bodyOf, FieldFault, fieldOf, rawOf } from "./recipe_form.js";
import { dropDraft, keepDraft, keptDraft } from "./drafts.js";

const TYPING_MS = 400;
const { recipe, recipe_id: recipeId, units } = /** @type {any} */ (facts);
const KEY = recipeId ? `recipe_${recipeId}` : `recipe_new${location.search}`;
/** @typedef {HTMLInputElement|HTMLSelectElement|HTMLTextAreaElement} Field */

const form = /** @type {HTMLFormElement} */ (document.getElementById("recipe-form"));
let base = recipeId ? recipe.version : null;
let sentId = newId();
let turn = 0;
/** @type {any} */
let kept = {};

/** @param {Element} scope @returns {Field[]} its own fields, not those of rows inside it */
function fields(scope) {
  return /** @type {Field[]} */ (Array.from(scope.querySelectorAll("[data-field]")))
    .filter((one) => (one.closest("[data-row]") || form) === scope);
}

/** @param {Element} scope @param {string} name @returns {Element[]} the rows of one of its lists */
function rows(scope, name) {
  const list = scope.querySelector(`[data-list="${name}"]`);
  return list ? Array.from(list.children) : [];
}

/** @param {Element} scope @returns {any} */
function gather(scope) {
  /** @type {any} */
  const raw = { ...(scope === form ? kept : JSON.parse(/** @type {HTMLElement} */ (scope).dataset.kept || "{}")) };
  fields(scope).forEach((one) => {
    raw[one.dataset.field || ""] = one instanceof HTMLInputElement && one.type === "checkbox" ? one.checked : one.value;
  });
  if (scope === form) {
    raw.ingredients = rows(form, "ingredients").map(gather);
    raw.steps = rows(form, "steps").map(gather);
  } else if (scope.classList.contains("step")) raw.amounts = rows(scope, "amounts").map(gather);
  return raw;
}

/** @param {Element} scope @param {any} raw */
function fill(scope, raw) {
  fields(scope).forEach((one) => {
    const value = raw[one.dataset.field || ""];
    if (value === undefined) return;
    if (one instanceof HTMLInputElement && one.type === "checkbox") one.checked = Boolean(value);
    else if (one instanceof HTMLSelectElement && !Array.from(one.options).some((known) => known.value === value)) {
      const option = document.createElement("option");
      option.value = value;
      option.textContent = String(value).replace(/_/g, " ");
      one.append(option);
      one.value = value;
    } else one.value = value;
  });
}

/** @param {Element} list @param {string} name @param {any} [raw] @returns {HTMLElement} */
function addRow(list, name, raw) {
  const template = /** @type {HTMLTemplateElement} */ (document.getElementById(`row-${name}`));
  const made = /** @type {HTMLElement} */ (document.importNode(template.content, true).firstElementChild);
  list.append(made);
  if (raw) {
    made.dataset.kept = JSON.stringify({ kept: raw.kept || {}, limit_kept: raw.limit_kept || {} });
    fill(made, raw);
  } else if (name === "steps") made.dataset.kept = JSON.stringify({ kept: {}, limit_kept: {} });
  const amounts = made.querySelector('[data-list="amounts"]');
  if (amounts && raw) raw.amounts.forEach((/** @type {any} */ one) => addRow(amounts, "amounts", one));
  return made;
}

/** @param {any} raw */
function show(raw) {
  kept = { kept: raw.kept || {}, salt_kept: raw.salt_kept || {} };
  ["ingredients", "steps"].forEach((name) => {
    const list = form.querySelector(`[data-list="${name}"]`);
    if (!list) return;
    list.textContent = "";
    raw[name].forEach((/** @type {any} */ one) => addRow(list, name, one));
    if (name === "ingredients" && !raw[name].length) addRow(list, name);
  });
  fill(form, raw);
  tidy();
}

/** Show what applies and the sums of the closed parts. */
function tidy() {
  const raw = gather(form);
  form.querySelectorAll("[data-unless]").forEach((one) => { /** @type {HTMLElement} */ (one).hidden = raw.self_set; });
  rows(form, "steps").forEach((step, index) => {
    const said = raw.steps[index];
    step.setAttribute("aria-label", `Step ${index + 1}`);
    step.querySelectorAll("[data-for-kind]").forEach((one) => {
      /** @type {HTMLElement} */ (one).hidden = !(/** @type {HTMLElement} */ (one).dataset.forKind || "").split(" ").includes(said.hold_kind);
    });
    const sign = (/** @type {string} */ unit) => (unit === "degF" ? " °F" : " °C");
    const band = { above: `${said.hold_low}${sign(said.hold_unit)} or warmer`, below: `${said.hold_high}${sign(said.hold_unit)} or colder`,
      between: `${said.hold_low} to ${said.hold_high}${sign(said.hold_unit)}`, near_boil: `within ${said.hold_below}${sign(said.hold_unit)} of the boil`, "": "" };
    const amounts = said.amounts.filter((/** @type {any} */ one) => one.value).map((/** @type {any} */ one) => `${one.stream.replace(/_/g, " ")} ${one.value} ${one.unit === "ratio" ? "kg/kg" : one.unit}`);
    /** @type {{[key: string]: string}} */
    const sums = {
      target: said.target_value ? said.target_value + sign(said.target_unit) : "",
      hold: said.hold_kind ? `${said.hold_least} ${said.hold_time_unit}, ${band[/** @type {"above"} */ (said.hold_kind)]}` : "",
      limit: said.limit_side ? `${said.limit_side === "high" ? "over" : "under"} ${said.limit_value}${sign(said.limit_unit)}` : "",
      amounts: amounts.join(", "), press: said.press_mass ? `${said.press_mass} ${said.press_mass_unit}` : "",
    };
    step.querySelectorAll("[data-part-of]").forEach((one) => {
      const part = /** @type {HTMLDetailsElement} */ (one);
      const name = part.dataset.partOf || "";
      const sum = part.querySelector(".sum");
      if (sum) sum.textContent = sums[name];
      part.hidden = !part.open && !sums[name];
      const add = step.querySelector(`[data-open-part="${name}"]`);
      if (add instanceof HTMLElement) add.hidden = !part.hidden || (name === "press" && said.kind !== "press");
    });
    const adds = step.querySelector(".adds");
    if (adds instanceof HTMLElement) adds.hidden = !adds.querySelector("button:not([hidden])");
  });
}

/** @param {string} path such as "steps.2.amounts.0.value" @returns {Field|null} */
function fieldAt(path) {
  const parts = path.split(".");
  /** @type {Element} */
  let scope = form;
  while (parts.length > 2) {
    const [name, index] = parts.splice(0, 2);
    const row = rows(scope, name)[Number(index)];
    if (!row) return null;
    scope = row;
  }
  return fields(scope).find((one) => one.dataset.field === parts[0]) || null;
}

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
