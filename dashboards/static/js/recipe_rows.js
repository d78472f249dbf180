// SPDX-License-Identifier: MIT
// The form of a recipe and its rows: ingredients, steps, amounts. Imports nothing.

/** @typedef {HTMLInputElement|HTMLSelectElement|HTMLTextAreaElement} Field */

export const form = /** @type {HTMLFormElement} */ (document.getElementById("recipe-form"));
/** @type {any} what the form doesn't show of a recipe, and must not lose */
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
export function gather(scope) {
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
export function addRow(list, name, raw) {
  const template = /** @type {HTMLTemplateElement} */ (document.getElementById(`row-${name}`));
  const made = /** @type {HTMLElement} */ (document.importNode(template.content, true).firstElementChild);
  list.append(made);
  if (raw) {
    made.dataset.kept = JSON.stringify({ kept: raw.kept || {}, limit_kept: raw.limit_kept || {}, hold_kept: raw.hold_kept || {} });
    fill(made, raw);
  } else if (name === "steps") made.dataset.kept = JSON.stringify({ kept: {}, limit_kept: {}, hold_kept: {} });
  const amounts = made.querySelector('[data-list="amounts"]');
  if (amounts && raw) raw.amounts.forEach((/** @type {any} */ one) => addRow(amounts, "amounts", one));
  return made;
}

/** @param {any} raw */
export function show(raw) {
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
export function tidy() {
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
export function fieldAt(path) {
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
