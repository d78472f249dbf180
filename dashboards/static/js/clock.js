// SPDX-License-Identifier: MIT
// The kitchen's time. A tablet's own clock may be wrong: the heartbeat tells by how much.

import { facts } from "./facts.js";

let aheadMs = Date.parse(facts.now) - Date.now();

/** Milliseconds since 1970 UTC by the kitchen's machine. @returns {number} */
export function kitchenNow() {
  return Date.now() + aheadMs;
}

/** @param {string} time RFC 3339, as a heartbeat gives it */
export function setKitchenTime(time) {
  const said = Date.parse(time);
  if (!Number.isNaN(said)) aheadMs = said - Date.now();
}

/** @param {number} ms @param {boolean} [seconds] @returns {string} by the kitchen's zone */
export function clockText(ms, seconds) {
  /** @type {Intl.DateTimeFormatOptions} */
  const form = { hour: "2-digit", minute: "2-digit", hour12: false, timeZone: facts.zone };
  if (seconds) form.second = "2-digit";
  return new Intl.DateTimeFormat("en-GB", form).format(ms);
}

/** How far the kitchen's zone is ahead of UTC at a moment. @param {number} ms @returns {number} [ms] */
export function zoneOffset(ms) {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: facts.zone, hour12: false, year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", second: "2-digit",
  }).formatToParts(ms);
  /** @type {{[part: string]: number}} */
  const said = {};
  parts.forEach((part) => { said[part.type] = Number(part.value); });
  const local = Date.UTC(said.year, said.month - 1, said.day, said.hour % 24, said.minute, said.second);
  return local - Math.floor(ms / 1000) * 1000;
}

/**
 * A form's local time, by the kitchen's clock, as RFC 3339 in UTC.
 * @param {string} field as a datetime-local field gives it
 * @returns {string|null} null if it is empty or no time
 */
export function fromField(field) {
  const asIfUtc = Date.parse(field + "Z");
  if (!field || Number.isNaN(asIfUtc)) return null;
  const guess = asIfUtc - zoneOffset(asIfUtc);
  return new Date(asIfUtc - zoneOffset(guess)).toISOString();
}

/** @param {number} seconds @returns {string} */
export function durationText(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) {
    const rest = whole % 60;
    return `${Math.floor(whole / 60)} min` + (rest ? ` ${String(rest).padStart(2, "0")} s` : "");
  }
  const minutes = Math.round(whole / 60);
  const left = minutes % 60;
  return `${Math.floor(minutes / 60)} h` + (left ? ` ${String(left).padStart(2, "0")} min` : "");
}
