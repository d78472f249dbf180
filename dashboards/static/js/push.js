// SPDX-License-Identifier: MIT
// Web Push for this device: offered only where the browser can, else why not and what to do.

import { call, newId, Refusal } from "./kitchen_api.js";

const KEY = "curdwright.push-route";
const WORKER = "/push_worker.js";

/** @returns {string} why this browser can't be called, "" if it can */
export function obstacle() {
  if (!window.isSecureContext) {
    return "This page came over plain HTTP, and browsers offer push only over HTTPS or on the machine itself. " +
      "Serve the kitchen over HTTPS (the README says how), or use another notice route.";
  }
  if (!("serviceWorker" in navigator) || !("PushManager" in window) || !("Notification" in window)) {
    return "This browser offers no push. On an iPhone or iPad, put this page on the home screen first and open it there.";
  }
  return "";
}

/** @param {string} text base64url @returns {Uint8Array} */
export function bytesOf(text) {
  const padded = text.replace(/-/g, "+").replace(/_/g, "/") + "=".repeat((4 - (text.length % 4)) % 4);
  return Uint8Array.from(atob(padded), (letter) => letter.charCodeAt(0));
}

/** @param {string} [id] @returns {string|null} the id of this device's route */
function keptRoute(id) {
  try {
    if (id !== undefined) localStorage.setItem(KEY, id);
    return localStorage.getItem(KEY);
  } catch (error) {
    return null;
  }
}

/** @param {string} words @param {string} [button] */
function show(words, button) {
  const place = document.getElementById("push-words");
  const press = document.getElementById("push-button");
  if (place) place.textContent = words;
  if (!press) return;
  press.hidden = !button;
  if (button) press.textContent = button;
}

/** @returns {Promise<PushSubscription|null>} */
async function subscription() {
  const registered = await navigator.serviceWorker.getRegistration("/");
  return registered ? registered.pushManager.getSubscription() : null;
}

async function look() {
  const made = await subscription();
  const mine = keptRoute();
  const { routes } = await call("GET", "/v1/notices/routes");
  const route = routes.find((/** @type {any} */ one) => one.id === mine);
  if (made && route && !route.gone) show(`This device is called as “${route.name}”. Send a test under Notices.`, "No longer");
  else if (route && route.gone) show(`This device is not called any more: ${route.gone}.`, "Call this device");
  else show("", "Call this device");
  return { made, route };
}

/** @param {any} route a route that is gone, if there is one */
async function begin(route) {
  if ((await Notification.requestPermission()) !== "granted") {
    show("The browser was told not to show notices of this page. Allow them in its settings, then try again.", "Call this device");
    return;
  }
  show("Subscribing …");
  const { key } = await call("GET", "/v1/notices/push");
  const registered = await navigator.serviceWorker.register(WORKER, { scope: "/" });
  await navigator.serviceWorker.ready;
  const old = await registered.pushManager.getSubscription();
  if (old) await old.unsubscribe(); // it may be gone, or belong to another key
  if (route) await call("POST", "/v1/notices/push", { withdraws: route.id });
  const made = await registered.pushManager.subscribe({
    userVisibleOnly: true, applicationServerKey: /** @type {BufferSource} */ (bytesOf(key)),
  });
  const said = made.toJSON();
  const device = /iPhone|iPad|Android/.exec(navigator.userAgent);
  const id = newId();
  const { name } = await call("POST", "/v1/notices/push", {
    id, name: `${device ? device[0] : "Browser"} ${id.slice(0, 4)}`,
    endpoint: said.endpoint, expirationTime: said.expirationTime || null, keys: said.keys,
  });
  keptRoute(id);
  show(`This device is called as “${name}”. Send a test under Notices.`, "No longer");
}

/** @param {PushSubscription} made @param {any} route */
async function end(made, route) {
  await call("POST", "/v1/notices/push", { withdraws: route.id });
  await made.unsubscribe();
  keptRoute("");
  show("This device is no longer called.", "Call this device");
}

/** @param {unknown} error */
function failed(error) {
  const todo = error instanceof Refusal ? ` ${error.todo}` : "";
  show(`That did not work: ${error instanceof Error ? error.message : error}${todo}`, "Call this device");
}

/** Offer it where it can be had. @param {() => void} afterChange */
export function watchPush(afterChange) {
  const press = document.getElementById("push-button");
  if (!press) return;
  const why = obstacle();
  if (why) {
    show(why);
    return;
  }
  press.addEventListener("click", async () => {
    try {
      const { made, route } = await look();
      if (made && route && !route.gone) await end(made, route);
      else await begin(route);
      afterChange();
    } catch (error) {
      failed(error);
    }
  });
  look().catch(failed);
}
