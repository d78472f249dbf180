// SPDX-License-Identifier: MIT
// Calls of the HTTP interface, and its one form of error.

const LONGEST_MS = 12000;

/** An answer that says no: what happened, where, what to do. */
export class Refusal extends Error {
  /** @param {number} status @param {{detail?: string, where?: string, do?: string, title?: string}} said */
  constructor(status, said) {
    super(said.detail || said.title || `The kitchen answered ${status}.`);
    this.status = status;
    this.where = said.where || "";
    this.todo = said.do || "";
  }
}

/** No answer at all: the connection is gone. */
export class Unreached extends Error {}

/**
 * @param {string} method
 * @param {string} path
 * @param {object} [body]
 * @returns {Promise<any>}
 */
export async function call(method, path, body) {
  /** @type {RequestInit} */
  const request = { method, headers: { Accept: "application/json" }, cache: "no-store", credentials: "same-origin" };
  if (body !== undefined) {
    request.headers = { Accept: "application/json", "Content-Type": "application/json" };
    request.body = JSON.stringify(body);
  }
  const giveUp = typeof AbortController === "function" ? new AbortController() : null;
  if (giveUp) request.signal = giveUp.signal;
  const timer = setTimeout(() => { if (giveUp) giveUp.abort(); }, LONGEST_MS);
  let answer;
  let text;
  try {
    answer = await fetch(path, request);
    text = await answer.text();
  } catch (error) {
    throw new Unreached("The kitchen can't be reached.");
  } finally {
    clearTimeout(timer);
  }
  let said = {};
  try {
    said = text ? JSON.parse(text) : {};
  } catch (error) {
    if (answer.ok) throw new Refusal(answer.status, { detail: "The answer can't be read." });
  }
  if (!answer.ok) throw new Refusal(answer.status, said);
  return said;
}

/** A UUID (version 4, RFC 9562), also where the page has no secure context. @returns {string} */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/**
 * Show what went wrong beside a form, or hide it again.
 * @param {Element|null} place
 * @param {unknown} [error]
 */
export function showFault(place, error) {
  if (!(place instanceof HTMLElement)) return;
  place.hidden = !error;
  place.textContent = "";
  if (!error) return;
  place.append(error instanceof Error ? error.message : String(error));
  const todo = error instanceof Refusal ? error.todo : "";
  const where = error instanceof Refusal && error.where ? ` (${error.where})` : "";
  if (where) place.append(where);
  if (todo) {
    const line = document.createElement("span");
    line.className = "do";
    line.textContent = todo;
    place.append(line);
  }
}
