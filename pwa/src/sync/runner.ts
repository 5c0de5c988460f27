/**
 * One round with the server at a time, whoever asks for it: push what waits, pull what is new, then
 * send pictures.
 *
 * Decides: when a round is made (a write, the start, the network or the page coming back, a timer
 * while somebody looks) and what a round's end means for the state that is shown. Rounds of several
 * tabs take turns by a lock of the browser.
 */
import { writable } from "svelte/store";

import type { Problem } from "../generated/models";
import { onLiveConnection, type PhoneDb } from "../store/db";
import type { State } from "../store/door";
import { MAX_AHEAD_MS } from "../store/hlc";
import { ShopAddresses } from "./addresses";
import { cameInAnew, isLetIn, noteEntry } from "./entry";
import { pushPhotos } from "./photos";
import { pullAll } from "./pull";
import { pushAll } from "./push";
import { Trouble, Unreachable } from "./server";

const EVERY_MS = 20_000;
/** After this a lock is taken for stuck: a frozen tab may hold it. */
const LOCK_MS = 90_000;
const LOCK = "second-probe sync";

export class SyncRunner {
  readonly #running = writable(false);
  readonly running: State<boolean> = { subscribe: this.#running.subscribe };
  #round: Promise<void> | null = null;
  #again = false;

  readonly #addresses: ShopAddresses;

  constructor(private readonly db: PhoneDb) {
    this.#addresses = new ShopAddresses(db);
  }

  /** Starts the triggers and makes the first round. */
  watch(): void {
    const go = (): void => void this.now();
    const ifSeen = (): void => void (document.visibilityState === "visible" && this.now());
    window.addEventListener("online", go);
    window.addEventListener("pageshow", ifSeen);
    document.addEventListener("visibilitychange", ifSeen);
    setInterval(ifSeen, EVERY_MS);
    go();
  }

  /** One round from now on; asked for during a round, one more follows it. Never rejects. */
  now(): Promise<void> {
    if (this.#round !== null) {
      this.#again = true;
      return this.#round;
    }
    this.#round = this.#rounds().finally(() => (this.#round = null));
    return this.#round;
  }

  async #rounds(): Promise<void> {
    this.#running.set(true);
    try {
      do {
        this.#again = false;
        await alone(() => onLiveConnection(this.db, () => this.#one()));
      } while (this.#again);
    } catch (error) {
      // no lock in time, or the storage is gone; the next trigger tries again
      console.warn("sync round not made", error);
    } finally {
      this.#running.set(false);
    }
  }

  async #one(): Promise<void> {
    const { db } = this;
    const reached = (server_ms: number): Promise<void> => this.#reached(server_ms);
    try {
      await this.#addresses.lookHome();
      if (!(await isLetIn(db))) return;
      // what is wrong with sending must not keep what others did from arriving
      let trouble = await troubleOf(() => pushAll(db, reached));
      const isOther = await pullAll(db, reached);
      if (isOther) trouble = await troubleOf(() => pushAll(db, reached));
      trouble ??= await troubleOf(() => pushPhotos(db, () => !this.#again));
      await db.setMeta("trouble", trouble);
      await noteAllSent(db);
      await noteEntry(db, null);
      await this.#addresses.note();
    } catch (error) {
      if (error instanceof Unreachable) await this.#nobodyAnswered();
      else if (error instanceof Trouble) await this.#trouble(error);
      else throw error;
    }
  }

  async #reached(server_ms: number): Promise<void> {
    const { db } = this;
    const off = Date.now() - server_ms;
    await db.transaction("rw", db.meta, async () => {
      await db.setMeta("last_answer_at_ms", Date.now());
      await db.setMeta("unreachable_since_ms", null);
      await db.setMeta("clock_off_ms", Math.abs(off) > MAX_AHEAD_MS ? off : null);
    });
  }

  async #nobodyAnswered(): Promise<void> {
    if (await this.#addresses.findElsewhere()) {
      this.#again = true;
      return;
    }
    const since = await this.db.metaOf("unreachable_since_ms");
    if (since == null) await this.db.setMeta("unreachable_since_ms", Date.now());
  }

  async #trouble({ status, problem }: Trouble): Promise<void> {
    const isOfEntry = status === 401;
    if (isOfEntry && (await cameInAnew(this.db, problem))) {
      this.#again = true;
      return;
    }
    await this.db.transaction("rw", this.db.meta, async () => {
      await this.db.setMeta("trouble", isOfEntry ? null : problem);
      if (isOfEntry) await noteEntry(this.db, problem);
      await this.db.setMeta("unreachable_since_ms", null);
    });
  }
}

/** The shop has everything of this phone: what was refused it has not. */
async function noteAllSent(db: PhoneDb): Promise<void> {
  const open = ["waiting", "refused"];
  const left = (await db.changes.where("status").anyOf(open).count()) + (await db.photo_sends.where("status").anyOf(open).count());
  if (left === 0) await db.setMeta("all_sent_at_ms", Date.now());
}

async function troubleOf(work: () => Promise<void>): Promise<Problem | null> {
  try {
    await work();
    return null;
  } catch (error) {
    if (error instanceof Trouble) return error.problem;
    throw error;
  }
}

async function alone(work: () => Promise<void>): Promise<void> {
  // over plain HTTP browsers give none: then two tabs may both send, and the shop takes each edit once all the same
  const locks = navigator.locks as LockManager | undefined;
  if (locks === undefined) return work();
  await locks.request(LOCK, { signal: AbortSignal.timeout(LOCK_MS) }, work);
}
