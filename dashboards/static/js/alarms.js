// SPDX-License-Identifier: MIT
// Alarms on the open page: the most urgent on top, sounded and spoken until somebody has
// acknowledged them; what is put away is listed below them with the time that is left.

import { clockText, kitchenNow } from "./clock.js";
import { record } from "./outbox.js";
import { startCalling, stopCalling } from "./sound.js";
import { inReadersUnit } from "./spoken.js";

const OF_A_MOMENT = ["target", "hold", "button"];
const SOUNDS_FOR_MS = 120000;
const SETTLED_MS = 3000;
const SHELF_S = 600;
const KEY = "curdwright.heard";
const RANK = { high: 0, medium: 1, low: 2 };
const URGENT = ["unacknowledged", "returned unacknowledged", "acknowledged"];
const AWAY = ["shelved", "out of service"];
const WORDS = {
  unacknowledged: "not acknowledged",
  acknowledged: "acknowledged",
  "returned unacknowledged": "over, not acknowledged",
};

/** @type {Map<string, import("./facts.js").Notice>} */
const alarms = new Map();
const SHOWN = 3;
/** @type {Set<string>} calls of a moment that fell silent because somebody acts on them */
const hushed = new Set();
/** @type {Map<string, number>} when this page itself changed an alarm [ms] */
const touched = new Map();

/** @returns {string[]} calls that were heard on this device */
function heard() {
  try {
    return JSON.parse(localStorage.getItem(KEY) || "[]");
  } catch (error) {
    return [];
  }
}

/** @param {string} call */
function remember(call) {
  try {
    localStorage.setItem(KEY, JSON.stringify(heard().concat([call]).slice(-200)));
  } catch (error) {
    // Without storage it is shown again after a reload, which harms nobody.
  }
}

/** @param {import("./facts.js").Notice} alarm @returns {string} this call of it, and no other */
function callOf(alarm) {
  return `${alarm.id}/${alarm.calls || 1}`;
}

/** @param {import("./facts.js").Notice} alarm @returns {string} its state, as this device knows it */
function stateOf(alarm) {
  const state = alarm.state || "unacknowledged";
  if (!heard().includes(callOf(alarm))) return state;
  if (state === "returned unacknowledged") return "normal";
  if (state !== "unacknowledged") return state;
  return OF_A_MOMENT.includes(alarm.about || "target") ? "normal" : "acknowledged";
}

/** Whoever marks something at a pot stands beside it: what it told of a moment falls silent, and
 * stays to be read. @param {string} batch */
export function hushNotices(batch) {
  alarms.forEach((alarm) => {
    if (alarm.batch !== batch || !OF_A_MOMENT.includes(alarm.about || "target")) return;
    hushed.add(callOf(alarm));
    stopCalling(alarm.id);
  });
}

/** Show the alarms as the kitchen knows them.
 * @param {import("./facts.js").Notice[]} standing */
export function showNotices(standing) {
  const now = Date.now();
  Array.from(alarms.keys()).forEach((id) => {
    const mine = now - (touched.get(id) || 0) < SETTLED_MS;
    if (!mine && !standing.some((one) => one.id === id)) alarms.delete(id);
  });
  standing.forEach((one) => {
    if (now - (touched.get(one.id) || 0) >= SETTLED_MS || !alarms.has(one.id)) alarms.set(one.id, one);
  });
  draw();
}

/** Take what the stream tells of one alarm.
 * @param {any} said */
export function showNotice(said) {
  const known = alarms.get(said.id);
  const raised = said.action === undefined ? said.cause !== undefined : said.action === "raised";
  if (!known && !raised) return;
  const merged = Object.assign({}, known || {}, said);
  if (known && !raised) merged.at = known.at;
  if (said.respond_s !== undefined) merged.time_to_respond_s = said.respond_s;
  merged.shelved_until = said.until || (said.state === "shelved" ? merged.shelved_until : null);
  touched.set(said.id, Date.now());
  alarms.set(said.id, merged);
  draw();
}

/** @param {import("./facts.js").Notice} alarm @param {object} change */
function change(alarm, change) {
  touched.set(alarm.id, Date.now());
  alarms.set(alarm.id, Object.assign({}, alarm, change));
  draw();
}

/** @param {import("./facts.js").Notice} alarm */
function acknowledge(alarm) {
  remember(callOf(alarm));
  change(alarm, {});
  record(`/v1/alarms/${alarm.id}/acknowledge`, {}, "an acknowledgement", true);
}

/** @param {import("./facts.js").Notice} alarm */
function shelve(alarm) {
  const until = new Date(kitchenNow() + SHELF_S * 1000).toISOString();
  change(alarm, { state: "shelved", shelved_until: until });
  const body = { for_s: SHELF_S, why: "put away on the Stove" };
  record(`/v1/alarms/${alarm.id}/shelve`, body, "a shelving", true);
}

/** @param {import("./facts.js").Notice} alarm */
function bringBack(alarm) {
  const verb = stateOf(alarm) === "shelved" ? "unshelve" : "return-to-service";
  change(alarm, { state: "unacknowledged", shelved_until: null, calls: (alarm.calls || 1) + 1 });
  record(`/v1/alarms/${alarm.id}/${verb}`, {}, "an alarm brought back", true);
}

function draw() {
  const shown = Array.from(alarms.values()).filter((one) => URGENT.includes(stateOf(one))).sort(before);
  const away = Array.from(alarms.values()).filter((one) => AWAY.includes(stateOf(one)));
  place(document.getElementById("alarm-list"), shown, "notice", boxOf);
  place(document.getElementById("alarms-away"), away, "away", awayOf);
  sayTheRest(shown.length - SHOWN);
  const section = document.getElementById("alarms-put-away");
  if (section) section.hidden = away.length === 0;
  Array.from(alarms.values()).forEach(call);
}

/** Three alarms leave room for the pots; the others come at a touch. @param {number} count */
function sayTheRest(count) {
  const button = document.getElementById("alarms-rest");
  const list = document.getElementById("alarm-list");
  if (!button || !list) return;
  const whole = list.classList.contains("whole");
  button.hidden = count <= 0;
  button.textContent = whole ? "Show the most urgent only" : `Show ${count} more ${count === 1 ? "alarm" : "alarms"}`;
  button.onclick = () => {
    list.classList.toggle("whole");
    sayTheRest(count);
  };
}

/** @param {import("./facts.js").Notice} one @param {import("./facts.js").Notice} other */
function before(one, other) {
  const open = (/** @type {import("./facts.js").Notice} */ alarm) => URGENT.indexOf(stateOf(alarm));
  const rank = (/** @type {import("./facts.js").Notice} */ alarm) => /** @type {any} */ (RANK)[alarm.priority] || 0;
  return open(one) - open(other) || rank(one) - rank(other) || String(other.at).localeCompare(String(one.at));
}

/** Sound an alarm as long as nobody has acknowledged it. @param {import("./facts.js").Notice} alarm */
function call(alarm) {
  const moment = OF_A_MOMENT.includes(alarm.about || "target");
  const fresh = !moment || kitchenNow() - Date.parse(alarm.at) < SOUNDS_FOR_MS;
  if (stateOf(alarm) === "unacknowledged" && fresh && !hushed.has(callOf(alarm))) startCalling(alarm.id, words(alarm), alarm.priority);
  else stopCalling(alarm.id);
}

/** Put boxes in their order; one that says the same stays as it is, under a finger too.
 * @param {HTMLElement|null} list @param {import("./facts.js").Notice[]} wanted @param {string} prefix
 * @param {(alarm: import("./facts.js").Notice) => HTMLElement} build */
function place(list, wanted, prefix, build) {
  if (!list) return;
  const ids = wanted.map((one) => `${prefix}-${one.id}`);
  Array.from(list.children).forEach((box) => { if (!ids.includes(box.id)) box.remove(); });
  wanted.forEach((alarm, index) => {
    const fresh = build(alarm);
    fresh.id = ids[index];
    const old = document.getElementById(fresh.id);
    const same = old && old.getAttribute("data-said") === fresh.getAttribute("data-said");
    const box = old && same ? old : fresh;
    if (old && !same) old.replaceWith(fresh);
    if (list.children[index] !== box) list.insertBefore(box, list.children[index] || null);
  });
}

/** @param {import("./facts.js").Notice} alarm */
function words(alarm) {
  return inReadersUnit(String(alarm.text || alarm.title || "An alarm")).replace(/ (°[CF])/g, "\u00a0$1");
}

/** @param {string} name @param {string} text @param {string} [kind] */
function element(name, text, kind) {
  const made = document.createElement(name);
  made.textContent = text;
  if (kind) made.className = kind;
  return made;
}

/** @param {string} text @param {string} what @param {() => void} act */
function answer(text, what, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.append(text, element("span", `: ${what}`, "unseen"));
  button.addEventListener("click", act);
  return button;
}

/** @param {import("./facts.js").Notice} alarm @returns {HTMLElement} */
function boxOf(alarm) {
  const state = stateOf(alarm);
  const priority = alarm.priority || "medium";
  const box = document.createElement("div");
  box.className = "alarm";
  box.dataset.priority = priority;
  box.dataset.state = state;
  box.dataset.of = alarm.batch || "";
  box.dataset.said = [state, priority, alarm.at, alarm.calls, words(alarm)].join("|");
  const rank = element("p", "", "rank");
  const sign = element("span", "", "sign");
  sign.setAttribute("aria-hidden", "true");
  const within = state === "unacknowledged" && alarm.time_to_respond_s ? `, act within ${shortTime(alarm.time_to_respond_s)}` : "";
  const time = element("time", clockText(Date.parse(alarm.at) || kitchenNow(), true), "");
  rank.append(sign, element("b", `${priority.charAt(0).toUpperCase()}${priority.slice(1)}`), `${within} · ${/** @type {any} */ (WORDS)[state]} · `, time);
  const said = element("div", "", "said");
  said.append(rank, element("p", words(alarm), "text"));
  if (alarm.caution && state === "unacknowledged") said.append(element("p", alarm.caution, "caution-text"));
  const answers = element("div", "", "answers");
  if (state !== "acknowledged") answers.append(answer("Heard", alarm.title, () => acknowledge(alarm)));
  if (state !== "returned unacknowledged") answers.append(answer("Shelve 10 min", alarm.title, () => shelve(alarm)));
  box.append(said, answers);
  return box;
}

/** @param {import("./facts.js").Notice} alarm @returns {HTMLElement} */
function awayOf(alarm) {
  const state = stateOf(alarm);
  const line = document.createElement("li");
  const left = alarm.shelved_until ? Math.max(Math.ceil((Date.parse(alarm.shelved_until) - kitchenNow()) / 60000), 0) : null;
  const until = left === null ? state : `${state}, ${left < 1 ? "less than 1" : left} min left`;
  const why = alarm.why ? ` (${alarm.why})` : "";
  const text = `${String(alarm.title).replace(/degC/g, "°C")}: ${until}${why}`;
  line.dataset.said = text;
  line.append(element("p", text), answer("Back now", alarm.title, () => bringBack(alarm)));
  return line;
}

/** @param {number} seconds */
function shortTime(seconds) {
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) return `${Math.round(seconds / 60)} min`;
  return `${Math.round(seconds / 3600)} h`;
}

window.setInterval(() => { if (document.querySelector("#alarms-away > li")) draw(); }, 1000);
