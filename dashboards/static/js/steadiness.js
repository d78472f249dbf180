// SPDX-License-Identifier: MIT
// Whether an instrument has come to rest: how far its last readings lie apart. Imports nothing.

const WINDOW_S = 30;
const LEAST_S = 15;
const FEWEST = 4;
const KEPT_S = 180;
const SPREAD_K = 0.2;
const SPREAD_KG = 0.001;
const SMALLEST = 1e-6; // numbers that were rounded in decimal differ in the last binary digits
const SPREAD_FRACTION = 0.001;

/** @typedef {{s: number, value: number, good: boolean}} Said */
/** @typedef {{state: "waiting"|"moving"|"steady"|"silent", mean: number|null, spread: number, over: number}} Rest */

export class Steadiness {
  /** @param {string} unit canonical: "degC" or "kg" */
  constructor(unit) {
    this.unit = unit;
    /** @type {Said[]} */
    this.said = [];
  }

  /** @param {Said} one */
  add(one) {
    const last = this.said[this.said.length - 1];
    if (last && one.s <= last.s) return;
    this.said.push(one);
    while (this.said.length && one.s - this.said[0].s > KEPT_S) this.said.shift();
  }

  /** @param {number} now [s since 1970 UTC] @param {number} staleAfter [s] @returns {Rest} */
  at(now, staleAfter) {
    const last = this.said[this.said.length - 1];
    if (!last) return { state: "waiting", mean: null, spread: 0, over: 0 };
    if (now - last.s > staleAfter) return { state: "silent", mean: null, spread: 0, over: now - last.s };
    const recent = this.said.filter((one) => one.good && last.s - one.s <= WINDOW_S);
    if (!recent.length) return { state: "waiting", mean: null, spread: 0, over: 0 };
    const values = recent.map((one) => one.value);
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    const spread = Math.max.apply(null, values) - Math.min.apply(null, values);
    const over = recent[recent.length - 1].s - recent[0].s;
    if (recent.length < FEWEST || over < LEAST_S) return { state: "waiting", mean, spread, over };
    const limit = this.limit(mean) + SMALLEST;
    return { state: spread <= limit ? "steady" : "moving", mean, spread, over };
  }

  /** How far readings at rest may lie apart: a display goes back and forth by its own step.
   * @param {number} mean @returns {number} */
  limit(mean) {
    if (this.unit === "degC") return Math.max(SPREAD_K, this.step());
    return Math.max(SPREAD_KG, SPREAD_FRACTION * Math.abs(mean), 2 * this.step());
  }

  /** @returns {number} the smallest step between the values seen, 0 with fewer than two */
  step() {
    const values = this.said.map((one) => one.value).sort((a, b) => a - b);
    let least = 0;
    for (let i = 1; i < values.length; i += 1) {
      const step = values[i] - values[i - 1];
      if (step > SMALLEST && (!least || step < least)) least = step;
    }
    return least;
  }
}
