// SPDX-License-Identifier: MIT
// What the server told this page: ids, bindings, targets, bands, units. Imports nothing.

/**
 * @typedef {{hold: string, verdict: string, low: number|null, high: number|null, from: string, to: string}} Band
 * @typedef {{id: string, kind: string, at: string}} BatchEvent
 * @typedef {{kind: string, value_degc: number, approach: string|null, tolerance_k: number, text: string, waits_for: string[]}} Target
 * @typedef {{id: string, name: string, probe: string|null, live: boolean, last_degc: number|null, scale: string|null,
 *   expected: string|null, target: Target|null, events: BatchEvent[], bands: Band[],
 *   curve_from_ms: number|null, curve_to_ms: number|null}} BatchFacts
 * @typedef {{series: string, unit: string, scale: number, offset: number, stale_after_s: number|null,
 *   last_at: string|null}} InstrumentFacts
 * @typedef {{now: string, position: string, zone: string, units: {temperature: string, mass: string},
 *   instruments: InstrumentFacts[], batches: BatchFacts[], alarms: Notice[]}} Facts
 * @typedef {{id: string, batch: string|null, text: string, title: string, at: string, priority: string, state?: string,
 *   about?: string, time_to_respond_s?: number|null, caution?: string, shelved_until?: string|null, why?: string,
 *   calls?: number}} Notice
 */

/**
 * The facts of a document, this page's or one that was fetched anew.
 * @param {Document} from
 * @returns {Facts}
 */
export function readFacts(from) {
  const block = from.getElementById("page-facts");
  const nothing = { now: new Date().toISOString(), position: "", zone: "UTC",
    units: { temperature: "degC", mass: "g" }, instruments: [], batches: [], alarms: [] };
  return block && block.textContent ? JSON.parse(block.textContent) : nothing;
}

/** @type {Facts} */
export let facts = readFacts(document);

/** @param {Facts} newer */
export function setFacts(newer) {
  facts = newer;
}

/** @param {string} id @returns {BatchFacts|undefined} */
export function batchFacts(id) {
  return facts.batches.find((one) => one.id === id);
}

/** @param {string} series @returns {InstrumentFacts|undefined} */
export function instrumentFacts(series) {
  return facts.instruments.find((one) => one.series === series);
}
