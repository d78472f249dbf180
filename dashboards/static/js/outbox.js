// SPDX-License-Identifier: MIT
// What was recorded on this page and has not been acknowledged yet. It is kept in the browser, so
// that neither a reload nor a dropped connection loses it; it is sent in order, with its own id and
// time, and the same id twice is recorded once.

import { Refusal, Unreached, call, newId } from "./kitchen_api.js";

const KEY = "curdwright.outbox";
const RETRY_MS = 4000;
/** @typedef {{id: string, path: string, body: any, words: string, own_time: boolean, refused?: string}} Item */

/** @type {Item[]} where the browser keeps nothing */
let inMemory = [];
/** @typedef {{state: "sent"|"kept"|"refused", answer?: any, error?: unknown}} Outcome */
/** @type {Map<string, (outcome: Outcome) => void>} */
const asked = new Map();
/** @type {Array<() => void>} */
const watchers = [];
let sending = false;

/** @returns {Item[]} */
export function waiting() {
  try {
    const kept = localStorage.getItem(KEY);
    return kept ? JSON.parse(kept) : [];
  } catch (error) {
    return inMemory;
  }
}

/** @param {Item[]} items */
function keep(items) {
  inMemory = items;
  try {
    localStorage.setItem(KEY, JSON.stringify(items));
  } catch (error) {
    // A browser that keeps nothing still sends what is in memory.
  }
  watchers.forEach((watcher) => watcher());
}

/** @param {() => void} watcher called whenever what waits has changed */
export function onOutbox(watcher) {
  watchers.push(watcher);
}

/**
 * Keep a record and send it.
 * @param {string} path where it is posted
 * @param {any} body without id and times
 * @param {string} words what it is, for the reader
 * @param {boolean} [timeless] it carries no time of its own
 * @returns {{id: string, made_ms: number, settled: Promise<Outcome>}} settled at the first try,
 *   whatever became of it
 */
export function record(path, body, words, timeless) {
  const id = newId();
  const made = Date.now();
  const whole = Object.assign({ id }, body);
  const typed = Boolean(whole.at);
  if (!timeless && !typed && !whole.withdraws) whole.at = new Date(made).toISOString();
  /** @type {Promise<Outcome>} */
  const settled = new Promise((done) => { asked.set(id, done); });
  keep(waiting().concat([{ id, path, body: whole, words, own_time: !typed }]));
  flush();
  return { id, made_ms: made, settled };
}

/** @param {string} id */
export function forget(id) {
  keep(waiting().filter((item) => item.id !== id));
}

/** Send what waits, in order; stop at the first that can't be sent now. */
export async function flush() {
  if (sending) return;
  sending = true;
  try {
    for (;;) {
      const item = waiting().find((one) => !one.refused);
      if (!item || !(await sent(item))) break;
    }
  } finally {
    sending = false;
  }
}

/** @param {string} id @param {Outcome} outcome */
function settle(id, outcome) {
  const done = asked.get(id);
  asked.delete(id);
  if (done) done(outcome);
}

/** @param {Item} item @returns {Promise<boolean>} whether the next may be sent */
async function sent(item) {
  try {
    const answer = await call("POST", item.path, Object.assign({}, item.body, clockOf(item)));
    forget(item.id);
    settle(item.id, { state: "sent", answer });
    return true;
  } catch (error) {
    if (error instanceof Unreached || (error instanceof Refusal && mayPass(error.status))) {
      Array.from(asked.keys()).forEach((id) => settle(id, { state: "kept" }));
      return false;
    }
    refuse(item, error);
    return true;
  }
}

/** A time that the reader typed is the kitchen's own; one that this device took is shifted by the
 * difference of the clocks, which the sender's time at sending shows.
 * @param {Item} item @returns {{sent_at?: string}} */
function clockOf(item) {
  return item.own_time ? { sent_at: new Date().toISOString() } : {};
}

/** @param {number} status @returns {boolean} whether it may work later as it is */
function mayPass(status) {
  return status >= 500 || status === 401 || status === 408 || status === 429;
}

/** A refused record whose sender still waits is told there; else it stays here until it is read.
 * @param {Item} item @param {unknown} error */
function refuse(item, error) {
  const why = error instanceof Refusal ? `${error.message} ${error.todo}`.trim() : String(error);
  if (asked.has(item.id)) {
    forget(item.id);
    settle(item.id, { state: "refused", error });
    return;
  }
  keep(waiting().map((one) => (one.id === item.id ? Object.assign({}, one, { refused: why }) : one)));
}

setInterval(flush, RETRY_MS);
window.addEventListener("online", () => { flush(); });
