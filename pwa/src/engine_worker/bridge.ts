/**
 * The page's side of the engine: its files, its worker, and one question at a time.
 *
 * Decides: when the worker lives (from the first use, not while the app has been hidden for minutes,
 * again after a crash), and which question is asked (one in hand, one waiting at each door of the engine,
 * the newest wins).
 * Leaves to others: what a question holds (`store/sheet.ts`) and keeping the answer (`store/opinions.ts`).
 */
import { get, writable } from "svelte/store";

import type { EngineState, State } from "../store/door";
import { fillEngineCache } from "./cache";
import type { About, EngineManifest, FromWorker, ToWorker } from "./protocol";

const HUNG_MS = 60_000;
const HIDDEN_MS = 5 * 60_000;
const RETRY_MS = [5_000, 30_000, 120_000] as const;

export type Answer = { is: "formed"; opinion: Uint8Array } | { is: "overtaken" } | { is: "failed"; why: string };

interface Asked {
  number: number;
  about: About;
  sheet: Uint8Array;
  settle: (answer: Answer) => void;
}

export class EngineBridge {
  readonly #state = writable<EngineState>({ is: "absent" });
  readonly state: State<EngineState> = { subscribe: this.#state.subscribe };
  #worker: Worker | null = null;
  #inHand: Asked | null = null;
  readonly #waiting = new Map<About, Asked>();
  #asked = 0;
  #failures = 0;
  #retry: ReturnType<typeof setTimeout> | undefined;
  #hung: ReturnType<typeof setTimeout> | undefined;
  #hidden: ReturnType<typeof setTimeout> | undefined;
  #resting = false;

  constructor(
    private readonly manifest: EngineManifest,
    private readonly makeWorker: () => Worker,
  ) {}

  /** Starts the engine, or tries again after a failure; does nothing while it is starting or ready. */
  start(): void {
    const now = get(this.#state);
    if (now.is !== "absent" && now.is !== "failed") return;
    clearTimeout(this.#retry);
    this.#state.set({ is: "loading", bytes: 0, of_bytes: this.manifest.total_bytes });
    void this.#load();
  }

  /**
   * The answer to a question (for an opinion: the sheet), both as JSON bytes. A question that waits is
   * overtaken by a newer one at the same door.
   * After a failure a question gets the reason at once: only the timer and `start` try again.
   */
  ask(sheet: Uint8Array, about: About = "opinion"): Promise<Answer> {
    const now = get(this.#state);
    if (now.is === "failed") return Promise.resolve({ is: "failed", why: now.why });
    return new Promise((settle) => {
      this.#waiting.get(about)?.settle({ is: "overtaken" });
      this.#waiting.set(about, { number: ++this.#asked, about, sheet, settle });
      this.start();
      this.#next();
    });
  }

  /** Frees the memory while nobody looks; the files stay, so coming back takes a moment only. */
  watchVisibility(page: Document): void {
    page.addEventListener("visibilitychange", () => {
      clearTimeout(this.#hidden);
      if (page.visibilityState === "hidden") {
        this.#hidden = setTimeout(() => this.#rest(), HIDDEN_MS);
      } else if (this.#resting) {
        this.#resting = false;
        this.start();
      }
    });
  }

  #rest(): void {
    if (get(this.#state).is !== "ready" || this.#inHand !== null) return;
    this.#stopWorker();
    this.#resting = true;
    this.#state.set({ is: "absent" });
  }

  async #load(): Promise<void> {
    try {
      await fillEngineCache(this.manifest, (bytes) => {
        this.#state.set({ is: "loading", bytes, of_bytes: this.manifest.total_bytes });
      });
      this.#state.set({ is: "starting" });
      this.#startWorker();
    } catch (error) {
      this.#failed(`The engine's files could not be fetched: ${error instanceof Error ? error.message : String(error)}`);
    }
  }

  #startWorker(): void {
    const worker = this.makeWorker();
    this.#worker = worker;
    worker.onmessage = ({ data }: MessageEvent<FromWorker>) => this.#heard(data);
    // no preventDefault: the browser's console keeps the place of the error
    worker.onerror = ({ message }) => this.#failed(`The engine stopped: ${message || "its script did not load"}`);
    this.#hung = setTimeout(() => this.#failed("The engine did not start within a minute."), HUNG_MS);
    this.#say({ is: "start", manifest: this.manifest });
  }

  #heard(message: FromWorker): void {
    clearTimeout(this.#hung);
    if (message.is === "failed" && message.number === null) {
      this.#failed(`The engine did not start: ${message.why}`);
      return;
    }
    if (message.is === "ready") {
      this.#failures = 0;
      this.#state.set({ is: "ready", version: this.manifest.version });
    } else if (message.number === this.#inHand?.number) {
      this.#inHand?.settle(message.is === "answer" ? { is: "formed", opinion: message.opinion } : { is: "failed", why: message.why });
      this.#inHand = null;
    }
    this.#next();
  }

  #next(): void {
    const [next] = this.#waiting.values();
    if (get(this.#state).is !== "ready" || this.#inHand !== null || next === undefined) return;
    this.#inHand = next;
    this.#waiting.delete(next.about);
    const { number, about, sheet } = next;
    this.#hung = setTimeout(() => this.#failed("The engine gave no answer within a minute."), HUNG_MS);
    this.#say({ is: "ask", number, about, sheet });
  }

  #say(message: ToWorker): void {
    this.#worker?.postMessage(message);
  }

  /** Shown, and tried again after a while; whoever asked is told now. */
  #failed(why: string): void {
    this.#stopWorker();
    for (const asked of [this.#inHand, ...this.#waiting.values()]) asked?.settle({ is: "failed", why });
    this.#inHand = null;
    this.#waiting.clear();
    const wait = RETRY_MS[Math.min(this.#failures++, RETRY_MS.length - 1)]!;
    this.#state.set({ is: "failed", why, retry_at_ms: Date.now() + wait });
    this.#retry = setTimeout(() => this.start(), wait);
  }

  #stopWorker(): void {
    clearTimeout(this.#hung);
    this.#worker?.terminate();
    this.#worker = null;
  }
}
