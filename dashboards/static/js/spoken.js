// SPDX-License-Identifier: MIT
// Written words as they are spoken: temperatures in the reader's unit, numbers in words.

import { facts } from "./facts.js";

const ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
  "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"];
const TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
/** @type {Array<[RegExp, string]>} */
const SAID = [
  [/\bAdd the coagulant now\b/g, "Pour now"],
  [/\badd the coagulant\b/g, "pour"],
  [/(\d) min\b/g, "$1 minutes"],
  [/(\d) h\b/g, "$1 hours"],
  [/(\d) s\b/g, "$1 seconds"],
  [/(\d) ?%/g, "$1 percent"],
];
const TEMPERATURE = /(^|[^\w.])([-\u2212]?\d+(?:\.\d+)?)[ \u00a0]?(?:deg|\u00b0)([CF])\b/g;
const DIFFERENCE = /(^|[^\w.])([-\u2212]?\d+(?:\.\d+)?)[ \u00a0]K\b/g;
const NUMBER = /(^|[^\w.:])(\d{1,3}(?:\.\d+)?)(?![\w:]|\.\d)/g;

/** A whole number up to 999 in words. @param {number} value @returns {string} */
function whole(value) {
  if (value < 20) return ONES[value];
  if (value < 100) return TENS[Math.floor(value / 10)] + (value % 10 ? `-${ONES[value % 10]}` : "");
  const rest = value % 100;
  return `${ONES[Math.floor(value / 100)]} hundred${rest ? ` and ${whole(rest)}` : ""}`;
}

/** A number as it is written, in words. @param {string} text @returns {string} */
export function inWords(text) {
  const plain = text.replace("\u2212", "-");
  const [before, after] = plain.replace("-", "").split(".");
  const size = Number(before);
  if (!Number.isInteger(size) || size > 999) return text;
  const digits = after && Number(after) !== 0 ? ` point ${Array.from(after, (digit) => ONES[Number(digit)]).join(" ")}` : "";
  return `${plain.startsWith("-") ? "minus " : ""}${whole(size)}${digits}`;
}

/** @param {string} written @param {number} value @returns {string} as many decimals as were written */
function asWritten(written, value) {
  return value.toFixed((written.split(".")[1] || "").length);
}

/** The reader's unit in what is written: "82 degC" becomes "180 °F" for who reads Fahrenheit.
 * @param {string} text @param {string} [unit] "degC" or "degF" @returns {string} */
export function inReadersUnit(text, unit) {
  const wanted = (unit || facts.units.temperature) === "degF" ? "F" : "C";
  const value = (/** @type {string} */ written) => Number(written.replace("\u2212", "-"));
  return text
    .replace(TEMPERATURE, (_all, lead, written, letter) => {
      if (letter === wanted) return `${lead}${written} \u00b0${wanted}`;
      const other = wanted === "F" ? value(written) * 1.8 + 32 : (value(written) - 32) / 1.8;
      return `${lead}${asWritten(written, other)} \u00b0${wanted}`;
    })
    .replace(DIFFERENCE, (_all, lead, written) => (
      wanted === "F" ? `${lead}${asWritten(written, value(written) * 1.8)} \u00b0F` : `${lead}${written} \u00b0C`
    ));
}

/** What is said aloud of an alarm. @param {string} text @param {string} [unit] @returns {string} */
export function spokenWords(text, unit) {
  let words = inReadersUnit(text, unit);
  const [pot, rest] = [words.split(": ", 1)[0], words.slice(words.indexOf(": ") + 2)];
  if (pot !== words && facts.batches.some((batch) => batch.name === pot)) {
    words = `${pot}${/\bpot$/i.test(pot) ? "" : " pot"}, ${rest}`;
  }
  SAID.forEach(([pattern, said]) => { words = words.replace(pattern, said); });
  return words
    .replace(TEMPERATURE, (_all, lead, written) => lead + inWords(written))
    .replace(NUMBER, (_all, lead, written) => lead + inWords(written));
}
