// SPDX-License-Identifier: MIT
// The words of a page, written again by the server: fetch the page and put its parts in place.
// Live figures and curves are left alone; so is a part under the reader's finger or cursor.

import { readFacts, setFacts } from "./facts.js";

const LIVE_PARTS = ["figures", "picture", "curve"];
/** @type {WeakMap<Element, string>} */
const written = new WeakMap();
let pressed = false;
let asked = 0;

document.addEventListener("pointerdown", () => { pressed = true; }, true);
["pointerup", "pointercancel"].forEach((name) => document.addEventListener(name, () => {
  setTimeout(() => { pressed = false; }, 60);
}, true));

/** @param {Document|Element} root @returns {Map<string, Element>} parts by owner and name */
function partsOf(root) {
  const found = new Map();
  root.querySelectorAll("[data-part]").forEach((part) => {
    const owner = part.closest("[data-batch]");
    found.set(`${owner instanceof HTMLElement ? owner.dataset.batch : ""}/${part.getAttribute("data-part")}`, part);
  });
  return found;
}

/** Remember how the server wrote each part of this page. */
export function rememberParts() {
  partsOf(document).forEach((part) => written.set(part, part.outerHTML));
}

/** @returns {Promise<Document|null>} the page anew; null if it can't be had or a newer one was asked for */
export async function fetchPage() {
  asked += 1;
  const turn = asked;
  try {
    const answer = await fetch(location.pathname + location.search, { cache: "no-store", credentials: "same-origin" });
    if (!answer.ok || answer.redirected) return null;
    const text = await answer.text();
    return turn === asked ? new DOMParser().parseFromString(text, "text/html") : null;
  } catch (error) {
    return null;
  }
}

/**
 * Put the parts of a newer page in place of this page's.
 * @param {Document} newer
 * @param {string[]} [also] live parts that may be replaced too
 */
export function putParts(newer, also) {
  setFacts(readFacts(newer));
  const mayReplace = also || [];
  const here = partsOf(document);
  partsOf(newer).forEach((part, key) => {
    const old = here.get(key);
    const name = part.getAttribute("data-part") || "";
    if (!old || (LIVE_PARTS.includes(name) && !mayReplace.includes(name))) return;
    const html = part.outerHTML;
    if (written.get(old) === html || isInUse(old)) return;
    keepOpen(old, part);
    const fresh = document.importNode(part, true);
    written.set(fresh, html);
    old.replaceWith(fresh);
  });
}

/** @param {Element} part @returns {boolean} */
function isInUse(part) {
  const active = document.activeElement;
  const typing = active instanceof HTMLInputElement || active instanceof HTMLSelectElement;
  return pressed || Boolean(typing && active && part.contains(active) && hasText(part));
}

/** @param {Element} part @returns {boolean} whether something was typed and not sent */
function hasText(part) {
  return Array.from(part.querySelectorAll("input")).some((field) => field.value !== field.defaultValue);
}

/** @param {Element} old @param {Element} fresh keep open what the reader had opened */
function keepOpen(old, fresh) {
  const before = old.querySelectorAll("details");
  fresh.querySelectorAll("details").forEach((one, index) => {
    if (before[index] && before[index].open) one.open = true;
  });
}
