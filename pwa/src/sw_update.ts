/**
 * Registers the service worker and holds a newer app back until somebody wants it. Decides: when to
 * look for one (phones that come back from the background do not look by themselves), and that it is
 * never taken while a draft is open. The record is not touched by an update.
 */
import { writable } from "svelte/store";

import type { State, UpdateState } from "./store/door";

const LOOK_EVERY_MS = 3_600_000;

export class AppUpdate {
  readonly #state = writable<UpdateState>({ is: "none" });
  readonly state: State<UpdateState> = { subscribe: this.#state.subscribe };
  #registration: ServiceWorkerRegistration | null = null;
  #isReady = false;
  #drafts = 0;

  /** `worker` is the address of the service worker. Without support the app runs, only not offline. */
  async register(worker: string): Promise<void> {
    const container = navigator.serviceWorker as ServiceWorkerContainer | undefined;
    if (container === undefined) return;
    const wasControlled = container.controller !== null;
    container.addEventListener("controllerchange", () => {
      // another tab took the newer app, or the first install took this page
      if (wasControlled) this.#found();
    });
    this.#registration = await container.register(worker, { updateViaCache: "none" });
    this.#watch(this.#registration);
  }

  /** How many drafts are open: an update waits for none. */
  setDrafts(count: number): void {
    this.#drafts = count;
    this.#tell();
  }

  /** Reloads into the newer app, if there is one and no draft is open. */
  take(): void {
    if (!this.#isReady || this.#drafts > 0) return;
    const waiting = this.#registration?.waiting;
    if (waiting == null) return location.reload();
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    waiting.postMessage({ is: "take_update" });
  }

  #watch(registration: ServiceWorkerRegistration): void {
    const look = (): void => void registration.update().catch(() => undefined);
    const lookIfSeen = (): void => void (document.visibilityState === "visible" && look());
    document.addEventListener("visibilitychange", lookIfSeen);
    window.addEventListener("pageshow", lookIfSeen);
    window.addEventListener("online", look);
    setInterval(look, LOOK_EVERY_MS);
    if (registration.waiting !== null) this.#found();
    registration.addEventListener("updatefound", () => {
      const coming = registration.installing;
      coming?.addEventListener("statechange", () => {
        // without a controller it is the first install, which is no update
        if (coming.state === "installed" && navigator.serviceWorker.controller !== null) this.#found();
      });
    });
    look();
  }

  #found(): void {
    this.#isReady = true;
    this.#tell();
  }

  #tell(): void {
    this.#state.set(this.#isReady ? { is: "ready", held_by_drafts: this.#drafts } : { is: "none" });
  }
}
