// Keeps a trainer's day on the phone, so that it opens without a connection. It knows pages and files, and nothing of what is written in them;
// sessions that were logged without a connection are kept by rounds.js.
"use strict";

const PAGES = "longlead-pages", FILES = "longlead-files";
const PATIENCE = 6000; // milliseconds until a page that is kept is shown in place of one that does not come
const MOST_FILES = 40;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && (url.pathname === "/sign-in" || url.pathname === "/sign-out")) {
    event.waitUntil(caches.delete(PAGES)); // whoever comes next sees nothing of this person's days
    return;
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (request.mode === "navigate" && (url.pathname === "/rounds" || url.pathname.startsWith("/rounds/"))) event.respondWith(page(request, url));
});

// file answers from what is kept: what is in a file never changes under its address.
async function file(request) {
  const kept = await caches.open(FILES), found = await kept.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok) {
    await kept.put(request, answer.clone());
    const all = await kept.keys();
    for (const old of all.slice(0, Math.max(0, all.length - MOST_FILES))) await kept.delete(old);
  }
  return answer;
}

// page asks the server, and shows what is kept where it does not answer.
async function page(request, url) {
  const asked = fetch(request).then(async (answer) => {
    if (answer.ok && !answer.redirected) await (await caches.open(PAGES)).put(url.pathname, answer.clone());
    return answer;
  });
  asked.catch(() => {}); // it may come to nothing after a kept page has been shown
  const kept = await (await caches.open(PAGES)).match(url.pathname);
  try {
    if (!kept) return await asked;
    return await Promise.race([asked, new Promise((_, late) => setTimeout(late, PATIENCE, new Error("late")))]);
  } catch {
    return kept || latest();
  }
}

// latest sends to the day that was kept last, or says that there is none.
async function latest() {
  const all = await (await caches.open(PAGES)).keys();
  if (all.length > 0) return Response.redirect(all[all.length - 1].url, 302);
  return new Response("<!DOCTYPE html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'><title>No connection</title>" +
    "<h1>No connection</h1><p>This page is not kept on this phone. What you have logged is kept, and is sent when the connection is back.</p>",
    {status: 503, headers: {"Content-Type": "text/html; charset=utf-8"}});
}
