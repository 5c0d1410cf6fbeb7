// Shows the yard's pages as they were last seen when there is no line. What the
// desk says now always comes first.
"use strict";
const PAGES = "spanyard-yard";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== self.location.origin) return;
  const page = e.request.mode === "navigate" && (url.pathname === "/yard" || url.pathname.startsWith("/yard/"));
  if (page || url.pathname.startsWith("/static/")) e.respondWith(freshOrKept(e.request, url.pathname, page));
});

async function freshOrKept(request, path, page) {
  const cache = await caches.open(PAGES);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) await cache.put(path, answer.clone());
    // Led away: nobody is signed in any more, and nothing stays to be read.
    if (page && answer.type === "opaqueredirect") await caches.delete(PAGES);
    return answer;
  } catch (gone) {
    const kept = await cache.match(path) || page && await cache.match("/yard");
    if (kept) return kept;
    throw gone;
  }
}
