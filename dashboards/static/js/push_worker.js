// SPDX-License-Identifier: MIT
// The service worker: shows what is pushed, with every page closed. It keeps and fetches nothing.

const LONG = [300, 120, 300, 120, 300];

/** @param {PushEvent} event @returns {{title: string, text: string, id: string, priority: string, at: string}} */
function messageOf(event) {
  const nothing = { title: "Curdwright", text: "A notice came that can't be read. Look at the Stove page.",
    id: "", priority: "high", at: "" };
  try {
    return event.data ? Object.assign(nothing, event.data.json()) : nothing;
  } catch (error) {
    return nothing;
  }
}

self.addEventListener("push", (event) => {
  const said = messageOf(event);
  const words = String(said.text).replace(/degC/g, "\u00b0C").replace(/degF/g, "\u00b0F");
  const at = Date.parse(said.at);
  event.waitUntil(self.registration.showNotification(String(said.title).replace(/deg([CF])/g, "\u00b0$1"), {
    body: words,
    tag: said.id || undefined, // a repeat of the same notice takes its place
    requireInteraction: said.priority === "high",
    vibrate: LONG,
    timestamp: Number.isNaN(at) ? Date.now() : at,
    icon: "/static/icon.svg",
  }));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil((async () => {
    const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
    for (const page of open) {
      if (new URL(page.url).pathname === "/" && "focus" in page) return page.focus();
    }
    return self.clients.openWindow("/");
  })());
});

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
