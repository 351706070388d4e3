{% comment %}Served by fleet/rounds/views.py, since a worker rules over the folder of its own address only.{% endcomment %}// The page of a round as it was last loaded stays on the phone: loaded anew where there is no connection it is shown from
// there, and says so. House.js takes it off the phone again on every page without a person: whoever signs in next finds nothing.

const KEPT = "rounds";
const PATIENCE = 20000; // as look/kept.js has for what it sends
const OF_A_ROUND = /^\d+\/$/;
const FILES = ["style", "script", "image"];

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  const path = address.href.replace(address.search, "").replace(registration.scope, "");
  if (request.mode === "navigate" && OF_A_ROUND.test(path)) event.respondWith(page(request, address));
  else if (FILES.includes(request.destination)) event.respondWith(file(request));
});

async function page(request, { pathname, search }) {
  const fresh = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) }).catch(() => null);
  const isThere = fresh && ![502, 503, 504].includes(fresh.status);
  if (isThere && fresh.ok && !search) await keep(pathname, fresh.clone());
  if (isThere) return fresh;
  const kept = await (await caches.open(KEPT)).match(pathname);
  return kept ? told(kept) : (fresh ?? Response.error());
}

async function file(request) {
  const fresh = await fetch(request).catch(() => null);
  if (fresh?.ok) await keep(request, fresh.clone());
  return fresh ?? (await (await caches.open(KEPT)).match(request)) ?? Response.error();
}

const keep = async (what, answer) => (await caches.open(KEPT)).put(what, answer);

// The page can ask itself whether, and of when, it was kept.
async function told(kept) {
  const headers = new Headers(kept.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  const words = await kept.text();
  const marks = `data-unconnected data-loaded-at="${new Date(headers.get("date")).toISOString()}"`;
  return new Response(words.replace("<body ", `<body ${marks} `), { headers });
}
