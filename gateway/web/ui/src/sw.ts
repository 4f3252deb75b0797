// Keeps the page itself on the device, so that it opens without the mill and says how old is what it shows. What stands is never answered from
// here: an old state must not look like the present one.
export {};
declare const self: ServiceWorkerGlobalScope;

/** All files of this build, put in by build.mjs; their names hold hashes. */
declare const FILES: string[];

const held = FILES.join(" ");

/** So long the network may take for the page before the kept one is shown. Chosen: a person with wet hands waits no longer. */
const patience = 3000;

self.addEventListener("install", (e) => {
  e.waitUntil(caches.open(held).then((c) => c.addAll(["/", ...FILES])).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (e) => {
  e.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((n) => n !== held).map((n) => caches.delete(n))))
    .then(() => self.clients.claim()));
});

async function page(request: Request): Promise<Response> {
  const late = new Promise<null>((done) => setTimeout(() => done(null), patience));
  const got = await Promise.race([fetch(request).catch(() => null), late]);
  if (got && (got.ok || got.redirected || got.status < 500)) return got;
  return (await caches.match("/", { cacheName: held })) ?? got ?? Response.error();
}

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== self.location.origin || /^\/(api|a|metrics|health)(\/|$)/.test(url.pathname)) return;
  if (e.request.mode === "navigate") e.respondWith(page(e.request));
  else if (FILES.includes(url.pathname)) e.respondWith(caches.match(e.request, { cacheName: held }).then((kept) => kept ?? fetch(e.request)));
});
