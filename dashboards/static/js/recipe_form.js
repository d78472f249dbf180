// SPDX-License-Identifier: MIT
// A recipe as its form holds it, and as the interface takes it. Pure: imports only the number reader.

import { numberOf } from "./forms.js";

/** Something in the form that can't be sent: which field, and what to do. */
export class FieldFault extends Error {
  /** @param {string} field such as "steps.2.hold_least" @param {string} words */
  constructor(field, words) {
    super(words);
    this.field = field;
  }
}

/** @typedef {{[key: string]: any}} Json */

const STEP_KEYS = ["kind", "note", "target", "hold", "limit", "masses", "mass_ratio", "stream", "press_mass", "press_area"];
const WHOLE_KEYS = ["name", "ingredients", "dry", "coagulant", "dose", "nominal_block", "milk_solids_fraction", "steps",
  "self_set", "note", "id", "version", "who", "recorded_at", "changes", "said", "refused"];
const MINUTES = { s: 1 / 60, min: 1, h: 60 };

/** @param {any} value @returns {string} a number without noise of the machine */
function text(value) {
  return value === null || value === undefined ? "" : String(Number(Number(value).toPrecision(10)));
}

/** @param {Json} from @param {string[]} known @returns {Json} what the form doesn't show */
function rest(from, known) {
  /** @type {Json} */
  const kept = {};
  Object.keys(from).forEach((key) => { if (!known.includes(key)) kept[key] = from[key]; });
  return kept;
}

/** @param {string} unit @returns {string} the unit as the form's choice names it */
function degrees(unit) {
  return /F$|fahrenheit/.test(unit) ? "degF" : "degC";
}

/**
 * What the form shows of a recipe.
 * @param {Json} recipe as the interface gives it
 * @param {{temperature: string, mass: string}} units of the reader, for what is empty
 * @returns {Json}
 */
export function rawOf(recipe, units) {
  const mass = units.mass === "oz" ? "oz" : "g";
  const total = (recipe.ingredients || []).reduce((/** @type {number} */ sum, /** @type {Json} */ one) => sum + (one.share || 1), 0);
  const several = (recipe.ingredients || []).length > 1;
  const dry = recipe.dry || { value: null, unit: mass };
  const block = recipe.nominal_block || { value: null, unit: mass };
  const salt = recipe.coagulant || {};
  const dose = recipe.dose || doseOfSteps(recipe) || { value: null, unit: "g/100 g dry" };
  return {
    name: recipe.name || "", note: recipe.note || "", who: "",
    dry_value: text(dry.value), dry_unit: dry.unit,
    block_value: text(block.value), block_unit: block.unit,
    milk_solids: recipe.milk_solids_fraction ? text(recipe.milk_solids_fraction * 100) : "",
    self_set: Boolean(recipe.self_set),
    coagulant: salt.name || "", strength: salt.strength_fraction ? text(salt.strength_fraction * 100) : "",
    dose_value: text(dose.value), dose_unit: dose.unit,
    salt_kept: rest(salt, ["name", "strength_fraction"]),
    kept: rest(recipe, WHOLE_KEYS),
    ingredients: (recipe.ingredients || []).map((/** @type {Json} */ one) => ({
      name: one.name, lot: one.lot || "", share: several ? text(100 * (one.share || 1) / total) : "",
    })),
    steps: (recipe.steps || []).map((/** @type {Json} */ step) => rawStep(step, units)),
  };
}

/** @param {Json} recipe @returns {Json|null} a dose that only the masses tell */
function doseOfSteps(recipe) {
  const masses = [].concat(...(recipe.steps || []).map((/** @type {Json} */ step) => step.masses || []));
  const salt = /** @type {Json[]} */ (masses).find((one) => one.stream === "coagulant");
  if (!salt) return null;
  if (salt.ratio) return { value: salt.ratio * 100, unit: "g/100 g dry" };
  const grams = { g: 1, kg: 1000, oz: 28.349523125, lb: 453.59237, mg: 0.001 };
  const dry = recipe.dry;
  if (!dry || !(salt.mass.unit in grams) || !(dry.unit in grams)) return null;
  const ratio = salt.mass.value * grams[/** @type {"g"} */ (salt.mass.unit)] / (dry.value * grams[/** @type {"g"} */ (dry.unit)]);
  return { value: ratio * 100, unit: "g/100 g dry" };
}

/** @param {Json} step @param {{temperature: string}} units @returns {Json} */
function rawStep(step, units) {
  const target = step.target || { value: null, unit: units.temperature };
  const limit = step.limit || { value: null, unit: units.temperature };
  const press = step.press_mass || { value: null, unit: "kg" };
  const area = step.press_area;
  const amounts = (step.masses || []).filter((/** @type {Json} */ one) => one.stream !== "coagulant")
    .map((/** @type {Json} */ one) => (one.mass
      ? { stream: one.stream, value: text(one.mass.value), unit: one.mass.unit }
      : { stream: one.stream, value: text(one.ratio), unit: "ratio" }));
  if (step.mass_ratio && step.stream) amounts.push({ stream: step.stream, value: text(step.mass_ratio), unit: "ratio" });
  return {
    kind: step.kind, note: step.note || "",
    target_value: text(target.value), target_unit: degrees(target.unit), target_tolerance: text(target.tolerance || null),
    target_approach: target.approach === "either" ? "" : target.approach || "",
    ...rawHold(step.hold, units),
    limit_side: step.limit ? limit.side : "", limit_value: text(limit.value), limit_unit: degrees(limit.unit),
    limit_dead_band: text(limit.dead_band), limit_priority: limit.priority || "",
    limit_kept: rest(limit, ["side", "value", "unit", "dead_band", "priority"]),
    press_mass: text(press.value), press_mass_unit: press.unit,
    press_area: area ? text(area.value * ({ m2: 10000, in2: 6.4516 }[/** @type {"m2"} */ (area.unit)] || 1)) : "",
    amounts, kept: rest(step, STEP_KEYS),
  };
}

/** A temperature in the unit that stands beside both bounds.
 * @param {Json|undefined} said @param {string} unit @returns {number|undefined} */
function inUnit(said, unit) {
  if (!said) return undefined;
  if (degrees(said.unit) === degrees(unit)) return said.value;
  const other = degrees(unit) === "degF" ? said.value * 1.8 + 32 : (said.value - 32) / 1.8;
  return Math.round(other * 1e6) / 1e6;
}

/** @param {Json|undefined} hold @param {{temperature: string}} units @returns {Json} */
function rawHold(hold, units) {
  const said = hold || {};
  const kind = said.below_boiling ? "near_boil" : said.low && said.high ? "between" : said.low ? "above" : said.high ? "below" : "";
  const unit = (said.low || said.high || said.below_boiling || { unit: units.temperature }).unit;
  const time = said.least ? said.least.unit : "min";
  const longest = said.longest ? said.longest.value * MINUTES[/** @type {"s"} */ (said.longest.unit)] / MINUTES[/** @type {"s"} */ (time)] : null;
  return {
    hold_kind: kind, hold_low: text(said.low && said.low.value), hold_high: text(inUnit(said.high, unit)),
    // Near the boiling point the form has no field for an upper bound; one that is there stays.
    hold_kept: said.below_boiling && said.high ? { high: said.high } : {},
    hold_below: text(said.below_boiling && said.below_boiling.value), hold_unit: degrees(unit),
    hold_least: text(said.least && said.least.value), hold_longest: text(longest), hold_time_unit: time,
    hold_starts: said.starts || "band", hold_ends: said.ends || "", hold_name: said.name || "",
    hold_broken: said.unbroken === false, hold_basis: said.basis || "quality",
  };
}

/**
 * A number of a field; null where it is empty.
 * @param {Json} raw @param {string} path @param {string} key @param {string} what
 * @param {{above?: number, least?: number, most?: number}} [bounds] @returns {number|null}
 */
function number(raw, path, key, what, bounds) {
  const said = String(raw[key] || "").trim();
  if (!said) return null;
  let value;
  try {
    value = numberOf(said, what);
  } catch (error) {
    throw new FieldFault(path + key, error instanceof Error ? error.message : String(error));
  }
  const { above, least, most } = bounds || {};
  if (above !== undefined && !(value > above)) throw new FieldFault(path + key, `${what} of ${said} is not above ${above}. Give more, or leave the field empty.`);
  if (least !== undefined && value < least) throw new FieldFault(path + key, `${what} of ${said} is below ${least}. Give at least that.`);
  if (most !== undefined && value > most) throw new FieldFault(path + key, `${what} of ${said} is over ${most}. Give less.`);
  return value;
}

/** @param {Json} raw @param {string} path @param {string} key @param {string} what @param {object} [bounds] @returns {number} */
function needed(raw, path, key, what, bounds) {
  const value = number(raw, path, key, what, bounds);
  if (value === null) throw new FieldFault(path + key, `${what} is missing. Give a number.`);
  return value;
}

/**
 * The recipe that a form holds.
 * @param {Json} raw
 * @returns {Json} what the interface takes
 * @throws {FieldFault} the first field that can't be sent
 */
export function bodyOf(raw) {
  if (!raw.name.trim()) throw new FieldFault("name", "The recipe has no name yet. Give it one, such as the ingredient and what sets it.");
  /** @type {Json} */
  const body = { ...raw.kept, name: raw.name.trim(), ingredients: ingredientsOf(raw), steps: raw.steps.map(stepOf) };
  const dry = number(raw, "", "dry_value", "The dry mass", { above: 0 });
  if (dry !== null) body.dry = { value: dry, unit: raw.dry_unit };
  const block = number(raw, "", "block_value", "The block", { above: 0 });
  if (block !== null) body.nominal_block = { value: block, unit: raw.block_unit };
  const solids = number(raw, "", "milk_solids", "The solids of the milk", { above: 0, most: 99 });
  if (solids !== null) body.milk_solids_fraction = solids / 100;
  if (raw.self_set) body.self_set = true;
  else putCoagulant(raw, body);
  if (raw.note.trim()) body.note = raw.note.trim();
  if (String(raw.who || "").trim()) body.who = raw.who.trim();
  const massless = raw.steps.findIndex((/** @type {Json} */ step) => step.amounts.some((/** @type {Json} */ one) => String(one.value).trim() && one.unit !== "ratio"));
  if (massless >= 0 && dry === null) throw new FieldFault("dry_value", `Step ${massless + 1} gives a mass, but not for which dry mass. Say what dry mass the recipe is written for.`);
  return body;
}

/** @param {Json} raw @param {Json} body */
function putCoagulant(raw, body) {
  const name = raw.coagulant.trim();
  const dose = number(raw, "", "dose_value", "The dose", { above: 0 });
  if (dose !== null && !name) throw new FieldFault("coagulant", "A dose is given, but of no coagulant. Name it.");
  if (!name) return;
  const strength = number(raw, "", "strength", "The strength of the brine", { above: 0, most: 100 });
  body.coagulant = { ...raw.salt_kept, name };
  if (strength !== null) body.coagulant.strength_fraction = strength / 100;
  if (dose === null) return;
  if (!raw.steps.some((/** @type {Json} */ step) => step.kind === "addition")) {
    throw new FieldFault("dose_value", "A dose is given, but no step is the addition. Add that step, or leave the dose out.");
  }
  body.dose = { value: dose, unit: raw.dose_unit };
}

/** @param {Json} raw @returns {Json[]} shares as parts of one */
function ingredientsOf(raw) {
  const named = raw.ingredients.map((/** @type {Json} */ one, /** @type {number} */ index) => ({ ...one, index }))
    .filter((/** @type {Json} */ one) => one.name.trim() || one.share.trim() || one.lot.trim());
  if (!named.length) throw new FieldFault("ingredients.0.name", "No ingredient is named. A recipe needs at least one: it brings its cautions and its price.");
  const shares = named.map((/** @type {Json} */ one) => number(one, `ingredients.${one.index}.`, "share", "The share", { above: 0, most: 100 }));
  const given = shares.filter((/** @type {number|null} */ share) => share !== null);
  const sum = given.reduce((/** @type {number} */ total, /** @type {number} */ share) => total + share, 0);
  if (named.length > 1 && given.length === named.length && Math.abs(sum - 100) > 0.5) {
    throw new FieldFault(`ingredients.${named[named.length - 1].index}.share`, `The shares add up to ${text(sum)} %. Make them 100 %.`);
  }
  if (named.length > 1 && given.length > 0 && given.length < named.length && sum >= 100) {
    throw new FieldFault(`ingredients.${named[named.length - 1].index}.share`, "Nothing is left of 100 % for the ingredients without a share. Lower the others.");
  }
  const even = given.length ? (100 - sum) / Math.max(named.length - given.length, 1) : 100 / named.length;
  return named.map((/** @type {Json} */ one, /** @type {number} */ at) => {
    if (!one.name.trim()) throw new FieldFault(`ingredients.${one.index}.name`, "This ingredient has no name. Name it, or remove the line.");
    /** @type {Json} */
    const part = { name: one.name.trim() };
    if (named.length > 1) part.share = Number(((shares[at] === null ? even : shares[at]) / 100).toPrecision(8));
    if (one.lot.trim()) part.lot = one.lot.trim();
    return part;
  });
}

/** @param {Json} raw @param {number} index @returns {Json} */
function stepOf(raw, index) {
  const path = `steps.${index}.`;
  /** @type {Json} */
  const step = { ...raw.kept, kind: raw.kind };
  if (raw.note.trim()) step.note = raw.note.trim();
  const target = number(raw, path, "target_value", "The target");
  if (target !== null) {
    step.target = { value: target, unit: raw.target_unit };
    if (raw.target_approach) step.target.approach = raw.target_approach;
    const tolerance = number(raw, path, "target_tolerance", "The tolerance", { least: 0 });
    if (tolerance !== null) step.target.tolerance = tolerance;
  }
  if (raw.hold_kind) step.hold = holdOf(raw, path);
  if (raw.limit_side) {
    step.limit = { ...raw.limit_kept, side: raw.limit_side, value: needed(raw, path, "limit_value", "The limit"), unit: raw.limit_unit };
    const dead = number(raw, path, "limit_dead_band", "The dead-band", { least: 0 });
    if (dead !== null) step.limit.dead_band = dead;
    if (raw.limit_priority) step.limit.priority = raw.limit_priority;
  }
  const press = number(raw, path, "press_mass", "The mass on the press", { above: 0 });
  if (press !== null) step.press_mass = { value: press, unit: raw.press_mass_unit };
  const area = number(raw, path, "press_area", "The area", { above: 0 });
  if (area !== null) step.press_area = { value: area, unit: "cm2" };
  const amounts = raw.amounts.map((/** @type {Json} */ one, /** @type {number} */ at) => amountOf(one, `${path}amounts.${at}.`));
  const masses = amounts.filter((/** @type {Json|null} */ one) => one !== null);
  if (masses.length) step.masses = masses;
  return step;
}

/** @param {Json} raw @param {string} path @returns {Json|null} null for an empty line */
function amountOf(raw, path) {
  const value = number(raw, path, "value", "The amount", { above: 0 });
  if (value === null) return null;
  return raw.unit === "ratio" ? { stream: raw.stream, ratio: value } : { stream: raw.stream, mass: { value, unit: raw.unit } };
}

/** @param {Json} raw @param {string} path @returns {Json} */
function holdOf(raw, path) {
  const kind = raw.hold_kind;
  const time = raw.hold_time_unit;
  /** @type {Json} */
  const hold = {
    name: raw.hold_name.trim() || `${raw.kind} hold`, starts: raw.hold_starts, basis: raw.hold_basis,
    least: { value: needed(raw, path, "hold_least", "The least time", { above: 0 }), unit: time },
  };
  const longest = number(raw, path, "hold_longest", "The longest time", { above: 0 });
  if (longest !== null && longest < hold.least.value) throw new FieldFault(`${path}hold_longest`, `The longest time, ${text(longest)} ${time}, is shorter than the least, ${text(hold.least.value)} ${time}. Swap them.`);
  if (longest !== null) hold.longest = { value: longest, unit: time };
  if (raw.hold_ends) hold.ends = raw.hold_ends;
  if (raw.hold_broken) hold.unbroken = false;
  if (kind === "near_boil") {
    const below = needed(raw, path, "hold_below", "The distance from the boiling point", { least: 0 });
    hold.below_boiling = { value: below, unit: raw.hold_unit === "degF" ? "degF" : "K" };
    return { ...hold, ...raw.hold_kept };
  }
  if (kind !== "below") hold.low = { value: needed(raw, path, "hold_low", "The lowest temperature"), unit: raw.hold_unit };
  if (kind !== "above") hold.high = { value: needed(raw, path, "hold_high", "The highest temperature"), unit: raw.hold_unit };
  if (kind === "between" && hold.low.value >= hold.high.value) throw new FieldFault(`${path}hold_high`, `The highest temperature, ${text(hold.high.value)}, is not above the lowest, ${text(hold.low.value)}. Swap them.`);
  return hold;
}

const PART_OF = { target: "target_value", hold: "hold_least", limit: "limit_value", press: "press_mass" };

/**
 * The field that a refusal of the server is about.
 * @param {string} where such as "step 3, boil, hold", "body.steps.2.hold.least" or "dose"
 * @returns {string|null}
 */
export function fieldOf(where) {
  const step = /^step (\d+)(?:, [a-z ]+)?(?:, ([a-z_]+))?/.exec(where);
  if (step) return `steps.${Number(step[1]) - 1}.${PART_OF[/** @type {"hold"} */ (step[2])] || "kind"}`;
  const body = /(?:^|\.)steps\.(\d+)\.([a-z_]+)/.exec(where);
  if (body) return `steps.${body[1]}.${PART_OF[/** @type {"hold"} */ (body[2])] || (body[2] === "masses" ? "amounts.0.value" : "kind")}`;
  const part = /(?:^|\.)ingredients(?:\.(\d+))?/.exec(where);
  if (part) return `ingredients.${part[1] || 0}.name`;
  const plain = { dry: "dry_value", nominal_block: "block_value", dose: "dose_value", coagulant: "coagulant", strength: "strength", name: "name", note: "note", steps: "dose_value", milk_solids_fraction: "milk_solids" };
  const key = where.replace(/^body\./, "").split(".")[0];
  return plain[/** @type {"dry"} */ (key)] || null;
}
