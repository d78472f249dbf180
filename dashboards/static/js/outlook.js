// SPDX-License-Identifier: MIT
// The line of a card that says what is about to happen, and when. The server writes the same words.

import { kitchenNow, durationText } from "./clock.js";
import { degree, plain, shownTemperature } from "./figures.js";

const STALE_AFTER_MS = 30000;
const HOUR_S = 3600;

/**
 * @typedef {{status?: string, why?: string, at?: string, earliest?: string, latest?: string,
 *   value_degc?: number, approach?: string, to_degc?: number, hold?: string, leaves?: any}} Part
 * @typedef {{batch: string, at: string, target: Part, boil: Part, hold: Part, chill: Part}} Outlook
 */

/** @param {number|undefined} degc @returns {string} */
function degrees(degc) {
  return `${plain(shownTemperature(Number(degc)), 1).replace(/\.0$/, "")}\u00a0${degree()}`;
}

/** @param {Outlook} outlook @returns {{lead: string, part: Part}|null} how the line begins, and what it tells */
function chosen(outlook) {
  const { target, boil, hold, chill } = outlook;
  if (hold.leaves) return { lead: `${hold.hold}: leaves its band`, part: hold.leaves };
  if (target.at) return { lead: degrees(target.value_degc), part: target };
  if ((target.why || "").startsWith("on this heat")) {
    return { lead: `On this heat it won't reach ${degrees(target.value_degc)}`, part: target };
  }
  if (boil.at && target.approach !== "rising") return { lead: "Boil", part: boil };
  if (chill.at) return { lead: `${degrees(chill.to_degc)} in the core`, part: chill };
  return null;
}

/** @param {number} leftS @param {number} low @param {number} high @returns {string} */
function about(leftS, low, high) {
  if (leftS < 57.5) return `${Math.max(Math.floor(leftS / 5 + 0.5) * 5, 5)}\u00a0s`;
  if (leftS >= HOUR_S) return durationText(Math.floor(leftS / 300 + 0.5) * 300);
  const minutes = Math.max(Math.floor(leftS / 60 + 0.5), 1);
  if (low <= 60 * minutes && 60 * minutes <= high) return `${minutes}\u00a0min`;
  return span(Math.floor(leftS / 10 + 0.5) * 10);
}

/** @param {number} seconds @returns {string} */
function span(seconds) {
  if (seconds >= HOUR_S) return durationText(seconds);
  return `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
}

/** Put an outlook into its line, to be counted down by `countOutlook`.
 * @param {HTMLElement} line @param {Outlook} outlook */
export function takeOutlook(line, outlook) {
  const found = chosen(outlook);
  const said = line.dataset;
  ["lead", "at", "earliest", "latest"].forEach((key) => delete said[key]);
  said.computed = outlook.at;
  said.lead = found ? found.lead : "";
  if (found && found.part.at) {
    said.at = found.part.at;
    said.earliest = found.part.earliest;
    said.latest = found.part.latest;
  }
  countOutlook(line);
}

/** Write a line as it stands now; what is stale or over disappears.
 * @param {HTMLElement} line */
export function countOutlook(line) {
  const said = line.dataset;
  const now = kitchenNow();
  const fresh = now - Date.parse(said.computed || "") <= STALE_AFTER_MS;
  const text = said.lead && fresh ? words(said, now) : "";
  line.classList.toggle("quiet", !said.at);
  if (line.textContent !== text) line.textContent = text;
}

/** @param {DOMStringMap} said @param {number} now @returns {string} */
function words(said, now) {
  if (!said.at) return said.lead || "";
  const [left, soonest, latest] = [said.at, said.earliest, said.latest].map((time) => (Date.parse(time || "") - now) / 1000);
  if (latest < 0) return "";
  if (left <= 5) return `${said.lead} about now`;
  const step = left < 60 ? 5 : left < HOUR_S ? 10 : 300;
  const low = Math.max(Math.floor(soonest / step) * step, 0);
  const high = Math.ceil(latest / step) * step;
  return `${said.lead} in ${about(left, low, high)}, between ${span(low)} and ${span(high)}`;
}
