/**
 * The service worker: opens the app without a network.
 *
 * Decides: the small shell is cached at install and answers every navigation; the engine's files come
 * out of the cache that the page fills (`engine_worker/cache.ts`); everything under /api goes to the
 * server untouched, where the browser can be told so without even waking this worker: a request that
 * wakes the old one while a newer one takes over keeps the old one for as long as it stays awake.
 * A newer app waits until the page says so (`sw_update.ts`).
 */
import { cleanupOutdatedCaches, matchPrecache, precacheAndRoute } from "workbox-precaching";

declare const self: ServiceWorkerGlobalScope & { __WB_MANIFEST: Array<{ url: string; revision: string | null }> };

const SHELL = "/index.html";

/** `InstallEvent.addRoutes` of the W3C draft Service Workers, which the types of the standard library do not have yet. */
interface RoutingInstallEvent {
  addRoutes: (routes: Array<{ condition: { urlPattern: { pathname: string } }; source: "network" }>) => Promise<void>;
}

// before the precache's own listener, which would answer "/" only
self.addEventListener("fetch", (event) => {
  const { origin, pathname } = new URL(event.request.url);
  if (origin !== self.location.origin || event.request.method !== "GET") return;
  if (event.request.mode === "navigate" && !pathname.startsWith("/api/")) answer(event, shell(event.request));
  else if (pathname.startsWith("/engine/")) answer(event, engineFile(event.request));
});

self.addEventListener("install", (event) => {
  const { addRoutes } = event as Partial<RoutingInstallEvent>;
  if (addRoutes === undefined) return; // such a browser asks the listener above
  const unasked = addRoutes.call(event, [{ condition: { urlPattern: { pathname: "/api/*" } }, source: "network" }]);
  // a browser that refuses the rule installs the app all the same
  event.waitUntil(unasked.catch(() => undefined));
});

cleanupOutdatedCaches();
precacheAndRoute(self.__WB_MANIFEST);

// the first install takes the open page at once, so that the engine's files come through here
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("message", ({ data }: ExtendableMessageEvent) => {
  if ((data as { is?: string } | null)?.is === "take_update") void self.skipWaiting();
});

function answer(event: FetchEvent, response: Promise<Response>): void {
  event.stopImmediatePropagation();
  event.respondWith(response);
}

/** A page of the shell by its own name, any other address as the app. */
async function shell(request: Request): Promise<Response> {
  return (await matchPrecache(new URL(request.url).pathname)) ?? (await matchPrecache(SHELL)) ?? fetch(request);
}

async function engineFile(request: Request): Promise<Response> {
  return (await caches.match(request)) ?? fetch(request);
}
