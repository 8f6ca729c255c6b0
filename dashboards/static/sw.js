// Opens the page Weigh where there is no signal, as it was last read, and says so on it. No other page is kept, and
// nothing that is sent is touched. SHELL, the addresses of what that page needs, stands before this.
"use strict";

const FILES = "benchdry-files", PAGES = "benchdry-pages";

async function keepFiles() {
  await caches.delete(FILES);
  await (await caches.open(FILES)).addAll(SHELL);
}

async function keepPage(path, answer) {
  if (answer.status !== 200 || answer.redirected) return;
  await (await caches.open(PAGES)).put(path, answer.clone());
}

self.addEventListener("install", (event) => event.waitUntil((async () => {
  await keepFiles();
  await keepPage("/weigh", await fetch("/weigh", { cache: "no-store" }));
  await self.skipWaiting();
})()));

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// The page as it was read, with the line that says so shown, and a mark for the scripts.
async function asRead(kept) {
  const text = (await kept.text()).replace('id="offline" hidden', 'id="offline"').replace("<html", '<html data-kept="yes"');
  return new Response(text, { status: 200, headers: kept.headers });
}

async function page(request, url) {
  try {
    const answer = await fetch(request);
    if (answer.type === "opaqueredirect" && url.pathname === "/weigh") await caches.delete(PAGES); // signed out
    else if (url.pathname === "/weigh") await keepPage(url.pathname + url.search, answer);
    return answer;
  } catch {
    const pages = await caches.open(PAGES);
    const kept = url.pathname === "/weigh" && (await pages.match(url.pathname + url.search) || await pages.match("/weigh"));
    if (kept) return asRead(kept);
    return new Response("No connection. Without one only the page /weigh opens, once it was opened with one.", { status: 503 });
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method !== "GET") {
    if (url.pathname === "/sign-out") event.waitUntil(caches.delete(PAGES));
    return;
  }
  if (request.mode === "navigate") event.respondWith(page(request, url));
  else if (SHELL.includes(url.pathname + url.search)) event.respondWith(caches.match(request).then((kept) => kept || fetch(request)));
});
