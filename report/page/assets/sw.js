// The service worker: keeps the page for the beach, whole and of one version,
// and takes files that other programs share.
const FILES = /*FILES*/ {};
const CACHE = "evenfoot /*VERSION*/";
const SHARED = "evenfoot shared";

// Hosts send index.html on to its folder, and an answer that was sent on may
// not be given to a navigation.
const address = (name) => (name === "index.html" ? "./" : name);

self.addEventListener("install", (e) => e.waitUntil((async () => {
  const cache = await caches.open(CACHE);
  await Promise.all(Object.entries(FILES).map(async ([name, hash]) => {
    const got = await fetch(new Request(address(name), { cache: "reload", integrity: hash }));
    if (!got.ok) throw new Error(name);
    await cache.put(address(name), got);
  }));
  await self.skipWaiting();
})()));

self.addEventListener("activate", (e) => e.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== CACHE && name !== SHARED) await caches.delete(name);
  await self.clients.claim();
})()));

async function share(request) {
  const form = await request.formData();
  const cache = await caches.open(SHARED);
  let n = 0;
  for (const f of form.getAll("logs")) if (f.name) await cache.put(`shared/${Date.now()}-${n++}?${encodeURIComponent(f.name)}`, new Response(f));
  return Response.redirect("./#shared", 303);
}

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  const path = url.pathname.slice(new URL(self.registration.scope).pathname.length);
  if (e.request.method === "POST" && path === "share") e.respondWith(share(e.request));
  else if (e.request.method === "GET" && url.origin === location.origin && (path || "index.html") in FILES) {
    e.respondWith((async () => (await (await caches.open(CACHE)).match(address(path || "index.html"))) ?? fetch(e.request))());
  }
});
