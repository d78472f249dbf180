// SPDX-License-Identifier: MIT
// What is drawn over a curve: marks, bands and the target, from the facts of a batch.

import { batchFacts } from "./facts.js";
import { shownTemperature } from "./figures.js";

/** @param {string} id a batch @returns {import("./curve_slot.js").Scene} */
export function sceneOf(id) {
  const batch = batchFacts(id);
  if (!batch) return { marks: [], bands: [], target: null, targetText: "" };
  const shown = (/** @type {number|null} */ degc) => (degc === null ? null : shownTemperature(degc));
  return {
    marks: batch.events.map((event) => ({ at: Date.parse(event.at) / 1000, label: event.kind })),
    bands: batch.bands.map((band) => ({
      from: Date.parse(band.from) / 1000,
      to: Date.parse(band.to) / 1000,
      low: shown(band.low),
      high: shown(band.high),
      label: band.hold,
      verdict: band.verdict,
    })),
    target: batch.target ? shownTemperature(batch.target.value_degc) : null,
    targetText: batch.target ? `target ${batch.target.text}` : "",
  };
}
