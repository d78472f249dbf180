// SPDX-License-Identifier: MIT
// One stream of server-sent events for the page, looked after by a watchdog: a browser gives an
// EventSource up for good after an answer such as 503, and a dead network may stay silent.

import { setKitchenTime } from "./clock.js";

const SILENCE_MS = 15000;
const PATIENCE_MS = 2500; // the browser is trying again by itself; shorter breaks are not told
const LOOK_MS = 1000;
const LONGEST_PAUSE_MS = 8000;
const EVENTS = ["reading", "mark", "proposal", "question", "offer", "alarm", "outlook", "reset"];

/**
 * @typedef {{onEvent: (name: string, data: any) => void, onState: (state: string) => void}} Listener
 */

export class Live {
  /** @param {string} position where the page's own figures end @param {Listener} listener */
  constructor(position, listener) {
    this.position = position;
    this.listener = listener;
    /** @type {string[]} */
    this.series = [];
    /** @type {string[]} */
    this.batches = [];
    /** @type {EventSource|null} */
    this.source = null;
    this.heardAt = Date.now();
    this.state = "starting";
    this.pauseMs = 1000;
    this.nextTryAt = 0;
    this.failedAt = 0;
    setInterval(() => this.look(), LOOK_MS);
    window.addEventListener("offline", () => this.say("lost"));
    window.addEventListener("online", () => { this.nextTryAt = 0; });
  }

  /** @param {{series?: string[], batches?: string[]}} wanted */
  listenTo(wanted) {
    const series = (wanted.series || []).slice().sort();
    const batches = (wanted.batches || []).slice().sort();
    const same = series.join() === this.series.join() && batches.join() === this.batches.join();
    if (this.source && same) return;
    this.series = series;
    this.batches = batches;
    this.open();
  }

  open() {
    if (this.source) this.source.close();
    const query = new URLSearchParams();
    this.series.forEach((name) => query.append("series", name));
    this.batches.forEach((id) => query.append("batch", id));
    if (this.position) query.set("after", this.position);
    const source = new EventSource(`/v1/live?${query}`);
    this.source = source;
    this.heardAt = Date.now();
    source.addEventListener("open", () => this.heard());
    source.addEventListener("error", () => { this.failedAt = this.failedAt || Date.now(); });
    source.addEventListener("heartbeat", (event) => {
      const said = /** @type {MessageEvent} */ (event).data;
      setKitchenTime(JSON.parse(said).time);
      this.heard();
    });
    EVENTS.forEach((name) => source.addEventListener(name, (event) => {
      const message = /** @type {MessageEvent} */ (event);
      if (message.lastEventId) this.position = message.lastEventId;
      this.heard();
      this.listener.onEvent(name, JSON.parse(message.data));
    }));
  }

  heard() {
    this.heardAt = Date.now();
    this.failedAt = 0;
    this.pauseMs = 1000;
    this.say("live");
  }

  look() {
    if (this.failedAt && Date.now() - this.failedAt > PATIENCE_MS) this.say("lost");
    const closed = !this.source || this.source.readyState === EventSource.CLOSED;
    const silent = Date.now() - this.heardAt > SILENCE_MS;
    if (!closed && !silent) return;
    this.say("lost");
    if (Date.now() < this.nextTryAt) return;
    this.nextTryAt = Date.now() + this.pauseMs;
    this.pauseMs = Math.min(this.pauseMs * 2, LONGEST_PAUSE_MS);
    this.open();
  }

  /** @param {string} state */
  say(state) {
    if (state === this.state) return;
    this.state = state;
    this.listener.onState(state);
  }
}
