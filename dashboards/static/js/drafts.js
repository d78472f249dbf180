// SPDX-License-Identifier: MIT
// What was typed and not saved, kept in this browser over a reload. Imports nothing.

const PREFIX = "curdwright_draft_";

/** @param {string} key @returns {any} what was kept, null if nothing or if it can't be read */
export function keptDraft(key) {
  try {
    const text = localStorage.getItem(PREFIX + key);
    return text ? JSON.parse(text) : null;
  } catch (error) {
    return null;
  }
}

/** @param {string} key @param {object} draft @returns {boolean} whether this browser keeps it */
export function keepDraft(key, draft) {
  try {
    localStorage.setItem(PREFIX + key, JSON.stringify(draft));
    return true;
  } catch (error) {
    return false;
  }
}

/** @param {string} key */
export function dropDraft(key) {
  try {
    localStorage.removeItem(PREFIX + key);
  } catch (error) {
    // A browser that keeps nothing has nothing to drop.
  }
}
