// SPDX-License-Identifier: MIT
// The live side of one card of the Stove: figure, distance, rate, staleness, countdown, curve.

import { batchFacts, instrumentFacts } from "./facts.js";
import { durationText, kitchenNow } from "./clock.js";
import { calibrated, distanceWords, heatingRate, massText, plain, rateWords, shownTemperature } from "./figures.js";
import { CurveFeed } from "./curve_feed.js";
import { countOutlook, takeOutlook } from "./outlook.js";
import { sceneOf } from "./scenes.js";

const RATE_OVER_S = 60;
const CURVE_HEIGHT = 310;

/** @param {string} words @returns {string} a number never parts from its unit in large type */
function fixed(words) {
  return words.replace(/ °/g, "\u00a0°");
}

/** @param {string|null} series @returns {number} [ms since 1970 UTC], 0 if it was never heard */
function lastHeard(series) {
  const known = series ? instrumentFacts(series) : null;
  return known && known.last_at ? Date.parse(known.last_at) : 0;
}

export class Card {
  /** @param {HTMLElement} element */
  constructor(element) {
    this.element = element;
    this.id = element.dataset.batch || "";
    /** @type {{s: number, degc: number}[]} */
    this.recent = [];
    /** @type {number|null} */
    this.degc = null;
    this.readAt = 0;
    this.massAt = 0;
    const batch = batchFacts(this.id);
    if (batch) {
      this.degc = batch.last_degc;
      this.readAt = lastHeard(batch.probe);
      this.massAt = lastHeard(batch.scale);
    }
    this.countedAt = Date.now();
    this.asked = false;
    this.feed = this.makeFeed();
  }

  /** @param {string} part @returns {HTMLElement|null} */
  live(part) {
    return this.element.querySelector(`[data-live="${part}"]`);
  }

  makeFeed() {
    const batch = batchFacts(this.id);
    const place = this.element.querySelector(".picture");
    if (!batch || !batch.probe || !(place instanceof HTMLElement)) return null;
    return new CurveFeed(place, {
      series: batch.probe, fromMs: batch.curve_from_ms, toMs: batch.live ? null : batch.curve_to_ms,
      height: CURVE_HEIGHT, zoom: false, scene: () => sceneOf(this.id),
      loaded: (good) => this.takeHistory(good),
    });
  }

  /** The last minute as it was stored, so that a rate is there with the page.
   * @param {[number, number|null, string][]} good time [ms], value, quality; oldest first */
  takeHistory(good) {
    const batch = batchFacts(this.id);
    if (!batch || !batch.live || !good.length) return;
    const newest = good[good.length - 1];
    if (newest[0] > this.readAt) {
      this.readAt = newest[0];
      this.degc = Number(newest[1]);
    }
    const first = this.recent.length ? this.recent[0].s : Infinity;
    const last = this.readAt / 1000;
    const before = good.map((one) => ({ s: one[0] / 1000, degc: Number(one[1]) }))
      .filter((one) => one.s >= last - RATE_OVER_S && one.s < first);
    this.recent = before.concat(this.recent);
    this.showTemperature();
  }

  /** @param {{series: string, time: string, value: number|null, unit: string, quality: string}} reading */
  take(reading) {
    const batch = batchFacts(this.id);
    if (!batch) return;
    if (reading.series === batch.probe && batch.live) this.takeTemperature(reading);
    if (reading.series === batch.scale) this.takeMass(reading);
  }

  /** @param {{series: string, time: string, value: number|null, unit: string, quality: string}} reading */
  takeTemperature(reading) {
    const value = calibrated(reading);
    const at = Date.parse(reading.time);
    if (reading.quality !== "good" || value === null || at < this.readAt) return;
    this.readAt = at;
    this.degc = value;
    this.recent.push({ s: at / 1000, degc: value });
    while (this.recent.length && this.recent[0].s < at / 1000 - RATE_OVER_S) this.recent.shift();
    if (this.feed) this.feed.add(at, value);
    else this.feed = this.makeFeed();
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.showTemperature();
    });
  }

  showTemperature() {
    const figure = this.live("temperature");
    const number = figure ? figure.querySelector(".number") : null;
    if (!figure || !number || this.degc === null) return;
    const shown = plain(shownTemperature(this.degc), 1);
    number.textContent = shown;
    number.classList.toggle("long", shown.length > 4);
    this.showAge();
    this.showDistance();
    const rate = this.live("rate");
    if (rate) rate.textContent = rateWords(heatingRate(this.recent));
  }

  showDistance() {
    const batch = batchFacts(this.id);
    const place = this.live("distance");
    if (!place || !batch || !batch.target || this.degc === null) return;
    const done = batch.events.some((event) => batch.target && event.kind === batch.target.kind);
    const words = done ? { amount: "", rest: `Target was ${batch.target.text}` } : distanceWords(this.degc, batch.target);
    const amount = document.createElement("b");
    amount.textContent = fixed(words.amount);
    place.textContent = "";
    if (words.amount) place.append(amount);
    place.append(fixed(words.rest));
  }

  /** @param {{series: string, time: string, value: number|null, unit: string, quality: string}} reading */
  takeMass(reading) {
    const value = calibrated(reading);
    const place = this.live("mass");
    const number = place ? place.querySelector(".number") : null;
    if (reading.quality !== "good" || value === null || !number) return;
    this.massAt = Date.parse(reading.time);
    number.textContent = massText(value);
    this.showAge();
  }

  /** @param {import("./outlook.js").Outlook} outlook */
  takeOutlook(outlook) {
    const line = this.live("outlook");
    if (line) takeOutlook(line, outlook);
  }

  /** Stale readings look stale: a word, a broken circle, a line through the figure. */
  showAge() {
    this.showAgeOf(this.live("temperature"), this.readAt, () => {
      const rate = this.live("rate");
      if (rate) rate.textContent = "";
    });
    this.showAgeOf(this.live("mass"), this.massAt, () => {});
  }

  /** @param {HTMLElement|null} place @param {number} at @param {() => void} whenStale */
  showAgeOf(place, at, whenStale) {
    if (!place || !at) return;
    const ageS = (kitchenNow() - at) / 1000;
    const stale = ageS > Number(place.dataset.staleAfter || 30);
    const words = place.querySelector(".age");
    place.classList.toggle("stale", stale);
    if (stale) whenStale();
    if (!words) return;
    const text = stale ? `stale: ${durationText(ageS)} old` : "";
    if (words.textContent === text) return;
    words.textContent = text;
    if (!stale) return;
    const sign = document.createElement("span");
    sign.className = "broken";
    sign.setAttribute("aria-hidden", "true");
    words.prepend(sign);
  }

  /** Once a second: ages, the outlook, and the holds that are being counted. */
  tick() {
    const passedS = (Date.now() - this.countedAt) / 1000;
    this.countedAt = Date.now();
    this.showAge();
    const line = this.live("outlook");
    if (line && line.dataset.lead) countOutlook(line);
    const figure = this.live("temperature");
    const fresh = figure && !figure.classList.contains("stale");
    this.element.querySelectorAll("li[data-counting]").forEach((line) => {
      if (line instanceof HTMLElement && fresh && this.insideBand(line.dataset.hold || "")) this.count(line, passedS);
    });
  }

  /** @param {string} hold @returns {boolean} */
  insideBand(hold) {
    const batch = batchFacts(this.id);
    const band = batch ? batch.bands.find((one) => one.hold === hold) : null;
    if (!band || this.degc === null) return false;
    return (band.low === null || this.degc >= band.low) && (band.high === null || this.degc <= band.high);
  }

  /** @param {HTMLElement} line @param {number} passedS */
  count(line, passedS) {
    const least = Number(line.dataset.least);
    const held = Math.min(Number(line.dataset.held) + passedS, least);
    line.dataset.held = String(held);
    const words = line.querySelector(".words");
    const bar = line.querySelector("progress");
    if (words) words.textContent = `${durationText(least - held)} left`;
    if (bar) bar.value = held;
  }

  /** @returns {boolean} whether a hold may change its verdict without a mark */
  watchesHolds() {
    return this.element.querySelector('.holds [data-verdict="running"], .holds [data-verdict="not begun"]') !== null;
  }

  /** The facts have changed: another probe, new marks, new bands. */
  renew() {
    const batch = batchFacts(this.id);
    if (this.feed && batch && this.feed.wanted.series !== batch.probe) {
      this.feed.stop();
      this.feed = this.makeFeed();
    }
    if (this.feed) this.feed.redraw();
    this.showDistance();
  }

  stop() {
    if (this.feed) this.feed.stop();
  }
}
