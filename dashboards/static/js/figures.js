// SPDX-License-Identifier: MIT
// Temperatures and masses as this reader likes them. The server writes the same forms.

import { facts, instrumentFacts } from "./facts.js";

const MINUS = "\u2212";
const KG_IN_A_POUND = 0.45359237;
/** @type {{[unit: string]: (value: number) => number}} */
const TO_CANONICAL = {
  Cel: (v) => v, degC: (v) => v, "°C": (v) => v, C: (v) => v, celsius: (v) => v,
  K: (v) => v - 273.15,
  degF: (v) => (v - 32) / 1.8, "°F": (v) => (v - 32) / 1.8, F: (v) => (v - 32) / 1.8,
  fahrenheit: (v) => (v - 32) / 1.8,
  kg: (v) => v, g: (v) => v / 1000, mg: (v) => v / 1e6,
  lb: (v) => v * KG_IN_A_POUND, oz: (v) => (v * KG_IN_A_POUND) / 16,
};

/** @param {number} value @param {number} decimals @returns {string} */
export function plain(value, decimals) {
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", MINUS);
}

/** @returns {boolean} */
function inFahrenheit() {
  return facts.units.temperature === "degF";
}

/** @returns {string} */
export function degree() {
  return inFahrenheit() ? "°F" : "°C";
}

/** @param {number} degc @returns {number} in the reader's unit */
export function shownTemperature(degc) {
  return inFahrenheit() ? degc * 1.8 + 32 : degc;
}

/** @param {number} kelvin @returns {number} in the reader's unit */
export function shownDifference(kelvin) {
  return inFahrenheit() ? kelvin * 1.8 : kelvin;
}

/** @param {number} kelvin @returns {string} */
export function differenceText(kelvin) {
  return `${plain(shownDifference(kelvin), 1)} ${degree()}`;
}

/** @param {number} kg @returns {string} */
export function massText(kg) {
  if (facts.units.mass === "oz") {
    const ounces = Math.round((kg / KG_IN_A_POUND) * 160) / 10;
    if (Math.abs(ounces) < 16) return `${plain(ounces, 1)} oz`;
    const pounds = Math.floor(Math.abs(ounces) / 16);
    return `${ounces < 0 ? MINUS : ""}${pounds} lb ${plain(Math.abs(ounces) - 16 * pounds, 1)} oz`;
  }
  return Math.abs(kg) >= 1 ? `${plain(kg, 3)} kg` : `${plain(kg * 1000, 1)} g`;
}

/**
 * A live reading, which says what the instrument said, as a calibrated value.
 * @param {{series: string, value: number|null, unit: string}} reading
 * @returns {number|null} [degC or kg]
 */
export function calibrated(reading) {
  const convert = TO_CANONICAL[reading.unit];
  if (reading.value === null || !convert) return null;
  const known = instrumentFacts(reading.series);
  const value = convert(reading.value);
  return known ? value * known.scale + known.offset : value;
}

const AT_TARGET_K = 0.3; // the page says the same from the same difference

/**
 * The distance to a target, in words; the amount comes first.
 * @param {number} degc
 * @param {import("./facts.js").Target} target
 * @returns {{amount: string, rest: string}}
 */
export function distanceWords(degc, target) {
  if (target.waits_for.length) {
    return { amount: "", rest: `Target ${target.text}, after: ${target.waits_for.join(", ")}` };
  }
  const far = degc - target.value_degc;
  const at = `${plain(shownTemperature(target.value_degc), 1)} ${degree()}`;
  if (Math.abs(far) <= AT_TARGET_K) {
    return { amount: "At the target", rest: ` of ${at}` };
  }
  const amount = differenceText(Math.abs(far));
  const side = far < 0 ? "below" : "above";
  const near = Math.abs(far) <= (target.tolerance_k || 0) ? ", within tolerance" : "";
  if (target.approach === "rising" && far < 0) return { amount, rest: ` to go, up to ${at}${near}` };
  if (target.approach === "falling" && far > 0) return { amount, rest: ` to go, down to ${at}${near}` };
  if (target.approach === "rising" || target.approach === "falling") {
    return { amount, rest: ` past the target, ${side} ${at}${near}` };
  }
  return { amount, rest: ` ${side} the target of ${at}${near}` };
}

/**
 * The heating rate over the last readings, by least squares.
 * @param {{s: number, degc: number}[]} points oldest first
 * @returns {number|null} [K/min], null where there is too little to tell
 */
export function heatingRate(points) {
  if (points.length < 5 || points[points.length - 1].s - points[0].s < 20) return null;
  const n = points.length;
  const middle = points.reduce((sum, p) => sum + p.s, 0) / n;
  let across = 0;
  let square = 0;
  points.forEach((p) => {
    across += (p.s - middle) * p.degc;
    square += (p.s - middle) * (p.s - middle);
  });
  return square > 0 ? (across / square) * 60 : null;
}

/** @param {number|null} rate [K/min] @returns {string} */
export function rateWords(rate) {
  if (rate === null) return "";
  const size = differenceText(Math.abs(rate));
  if (Math.abs(rate) < 0.1) return "Steady";
  return `${rate > 0 ? "Rising" : "Falling"} ${size} a minute`;
}
