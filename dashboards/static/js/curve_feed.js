// SPDX-License-Identifier: MIT
// The points of one live curve: loaded once, added to as readings come, thinned by the server when
// they grow too many. A gap in the readings stays a gap.

import { call } from "./kitchen_api.js";
import { shownTemperature } from "./figures.js";
import { makePlot, plotsOffered, whenPlots } from "./curve_slot.js";
import { clockText } from "./clock.js";

const POINTS = 1500;
const MOST = 6000;
const REDRAW_MS = 1000;
const GAP_AT_LEAST_S = 30;

/** @param {number[]} times @returns {number} the median distance [s] */
function usualInterval(times) {
  const distances = [];
  for (let i = 1; i < times.length; i += 1) distances.push(times[i] - times[i - 1]);
  distances.sort((a, b) => a - b);
  return distances.length ? distances[Math.floor(distances.length / 2)] : 0;
}

export class CurveFeed {
  /**
   * @param {HTMLElement} element where the picture stands
   * @param {{series: string, fromMs: number|null, toMs: number|null, height: number, zoom: boolean,
   *   scene: () => import("./curve_slot.js").Scene,
   *   loaded?: (good: [number, number|null, string][]) => void}} wanted
   */
  constructor(element, wanted) {
    this.element = element;
    this.wanted = wanted;
    /** @type {number[]} */
    this.times = [];
    /** @type {(number|null)[]} */
    this.values = [];
    this.limitS = GAP_AT_LEAST_S;
    this.lastS = 0;
    this.changed = false;
    this.loading = false;
    /** @type {import("./curve_slot.js").Plot|null} */
    this.plot = null;
    this.timer = setInterval(() => this.draw(), REDRAW_MS);
    whenPlots(() => this.load());
  }

  async load() {
    if (this.loading || !plotsOffered()) return;
    this.loading = true;
    const query = new URLSearchParams({ series: this.wanted.series, points: String(POINTS), time: "ms" });
    if (this.wanted.fromMs !== null) query.set("from", new Date(this.wanted.fromMs).toISOString());
    if (this.wanted.toMs !== null) query.set("to", new Date(this.wanted.toMs + 1).toISOString());
    try {
      const said = await call("GET", `/v1/readings?${query}`);
      this.take(said.readings);
    } catch (error) {
      // The picture that came with the page stays; the next redraw tries again.
      this.lastS = 0;
    } finally {
      this.loading = false;
    }
  }

  /** @param {[number, number|null, string][]} readings */
  take(readings) {
    const good = readings.filter((one) => one[2] === "good" && one[1] !== null);
    const seconds = good.map((one) => one[0] / 1000);
    this.limitS = Math.max(3 * usualInterval(seconds), GAP_AT_LEAST_S);
    this.times = [];
    this.values = [];
    this.lastS = 0;
    good.forEach((one) => this.put(one[0] / 1000, shownTemperature(Number(one[1]))));
    if (this.wanted.loaded) this.wanted.loaded(good);
    this.changed = true;
    this.draw();
  }

  /** @param {number} s @param {number} value in the reader's unit */
  put(s, value) {
    if (this.lastS && s - this.lastS > this.limitS) {
      this.times.push((s + this.lastS) / 2);
      this.values.push(null);
    }
    this.times.push(s);
    this.values.push(value);
    this.lastS = s;
  }

  /** A live reading; one a second is enough for a curve. @param {number} ms @param {number} degc */
  add(ms, degc) {
    const s = ms / 1000;
    if (!this.lastS || s - this.lastS < 1) return;
    this.put(s, shownTemperature(degc));
    this.changed = true;
    if (this.times.length > MOST) this.load();
  }

  draw() {
    if (document.hidden || !plotsOffered()) return;
    if (!this.lastS && !this.loading) { this.load(); return; }
    if (!this.changed || this.times.length < 2) return;
    this.changed = false;
    if (!this.plot) this.mount();
    if (this.plot) this.plot.setData(this.times, this.values);
  }

  mount() {
    const svg = this.element.querySelector("svg.curve desc");
    const described = svg && svg.textContent ? svg.textContent : `Temperature since ${clockText(this.times[0] * 1000)}.`;
    const { height, zoom, scene } = this.wanted;
    this.element.classList.add("plotted");
    const holder = document.createElement("div");
    holder.setAttribute("role", "img");
    holder.setAttribute("aria-label", described);
    this.element.append(holder);
    this.plot = makePlot({ element: holder, height, zoom, scene });
  }

  /** The marks or the bands have changed. */
  redraw() {
    if (this.plot) this.plot.redraw();
  }

  stop() {
    clearInterval(this.timer);
    if (this.plot) this.plot.destroy();
  }
}
