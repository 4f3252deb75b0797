// Keeps the page itself on the device, so that it opens without the mill and says how old is what it shows. What stands is never answered from
// here: an old state must not look like the present one.
export {};
declare const self: ServiceWorkerGlobalScope;

/** All files of this build, put in by build.mjs; their names hold hashes. */
declare const FILES: string[];

const held = FILES.join(" ");

/** The page without what stands in it: under its own name the gateway gives it bare. */
const shell = "/index.html";

/** So long the network may take for the page before the kept one is shown. Chosen: a person with wet hands waits no longer. */
const patience = 3000;

self.addEventListener("install", (e) => {
  e.waitUntil(caches.open(held).then((c) => c.addAll([shell, ...FILES])).then(() => self.skipWaiting()));
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
  return (await caches.match(shell, { cacheName: held })) ?? got ?? Response.error();
}

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== self.location.origin || /^\/(api|a|metrics|health)(\/|$)/.test(url.pathname)) return;
  if (e.request.mode === "navigate") e.respondWith(page(e.request));
  else if (FILES.includes(url.pathname)) e.respondWith(caches.match(e.request, { cacheName: held }).then((kept) => kept ?? fetch(e.request)));
});

/** What the gateway sends; see content in gateway/callout/push. */
interface Notice { title: string; body: string; tag: string; link?: string; answer?: string; done?: string; failed?: string; urgent?: boolean }

/** A button on a notice and sounding again are known to browsers, not yet to the types of TypeScript. */
interface Shown extends NotificationOptions { actions?: { action: string; title: string }[]; renotify?: boolean }

function show(n: Notice): Promise<void> {
  const options: Shown = { body: n.body, tag: n.tag, data: n, icon: "/icon.svg", requireInteraction: n.urgent ?? false, renotify: true };
  if (n.link && n.answer) options.actions = [{ action: "answer", title: n.answer }];
  return self.registration.showNotification(n.title, options);
}

// Every push shows something: a browser takes the subscription away from a page that keeps still.
self.addEventListener("push", (e) => {
  let notice: Notice = { title: "Millwarden", body: "", tag: "push" };
  try {
    notice = (e.data?.json() as Notice | undefined) ?? notice;
  } catch { /* not ours: shown bare */ }
  e.waitUntil(show(notice));
});

/** The answer is written down by the gateway or it is not; the person is told which. */
async function answer(n: Notice): Promise<void> {
  const got = await fetch(n.link!, { method: "POST" }).catch(() => null);
  await show({ title: n.title, body: (got?.ok ? n.done : n.failed) ?? "", tag: `${n.tag}-answer` }); // the notice touched is being closed by its own tag
}

self.addEventListener("notificationclick", (e) => {
  const n = e.notification.data as Notice;
  e.notification.close();
  e.waitUntil(e.action === "answer" && n.link ? answer(n) : self.clients.openWindow(n.link ?? "/"));
});
