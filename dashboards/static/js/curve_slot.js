// SPDX-License-Identifier: MIT
// Where a curve library may put itself. The page works without one: it then keeps the picture that
// the server drew. Imports nothing.

/**
 * @typedef {{setData: (times: number[], values: (number|null)[]) => void, redraw: () => void, destroy: () => void}} Plot
 * @typedef {{element: HTMLElement, height: number, zoom: boolean, scene: () => Scene}} Wanted
 * @typedef {{marks: {at: number, label: string}[], target: number|null, targetText: string,
 *   bands: {from: number, to: number, low: number|null, high: number|null, label: string, verdict: string}[]}} Scene
 */

/** @type {((wanted: Wanted) => Plot)|null} */
let maker = null;
/** @type {Array<() => void>} */
const waiting = [];

/** @param {(wanted: Wanted) => Plot} make */
export function offerPlots(make) {
  maker = make;
  waiting.splice(0).forEach((callback) => callback());
}

/** Call back once plots can be made; never, if there is no library. @param {() => void} callback */
export function whenPlots(callback) {
  if (maker) callback();
  else waiting.push(callback);
}

/** @param {Wanted} wanted @returns {Plot} */
export function makePlot(wanted) {
  if (!maker) throw new Error("no curve library is loaded");
  return maker(wanted);
}

/** @returns {boolean} */
export function plotsOffered() {
  return maker !== null;
}
