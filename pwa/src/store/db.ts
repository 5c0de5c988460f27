/**
 * The phone's own record, in IndexedDB. Decides: the tables, their keys and indexes, and what to do
 * when the connection dies. Leaves to others: what goes in (`write.ts`, `apply.ts`) and what is asked
 * of it (`read.ts`).
 *
 * Rules for later versions: keep every published `version(n)`; never recreate a table in an upgrade
 * (the outbox would go with it); every row is read tolerantly, by its own `v`.
 */
import Dexie, { type Table } from "dexie";

import type { Change, EntityKind, FactKind, Opinion, Phone, Problem } from "../generated/models";
import tables from "../generated/tables.json";
import type { Habits } from "./habits";
import { allReadings, talliesOf } from "./tally";

/** The newest body this app can read; a body above it is kept and applied after the update. */
export const BODY_V: number = tables.body_v;

/** A fact. `gone` 1: taken back. The other ids are copies out of `record`, to be asked for by. */
export interface FactRow {
  kind: FactKind;
  id: string;
  stamp: string;
  record: { readonly id: string } & Record<string, unknown>;
  gone: 0 | 1;
  job_id?: string;
  reference_board_id?: string;
  board_version_id?: string;
  /** Only on readings of one contact that are not taken back: trays count contacts by this index. */
  contact?: string;
}

/** What is edited: each field's value, and the stamp it won with. */
export interface EntityRow {
  kind: EntityKind;
  id: string;
  values: Record<string, unknown>;
  stamps: Record<string, string>;
  gone: 0 | 1;
}

export interface RemovedRow {
  kind: FactKind | EntityKind;
  id: string;
}

/**
 * One edit made on this phone: the outbox while `waiting`, kept afterwards for a server that lost its data.
 * Below 0 `device_seq` is only the row's place: an edit of another device, taken in from a file (`carry.ts`);
 * the number it has on its own device is in `change`.
 */
export interface OwnChangeRow {
  device_seq: number;
  id: string;
  change: Change;
  status: "waiting" | "known" | "refused";
  kind: FactKind | EntityKind | "newer";
  record_id: string;
  job_id: string | null;
  problem: Problem | null;
  answered_at_ms: number | null;
}

/** A change with a body this app is too old for; `seq` is the server's number of it. */
export interface NewerRow {
  id: string;
  change: Change;
}

export interface OpinionRow {
  job_id: string;
  opinion: Opinion;
  formed_at_ms: number;
  /** Ids of the readings the question held, and of those taken back by then, each as "gone <id>". */
  seen: string[];
  last_failure: string | null;
}

/** Counted of the readings of a job or a healthy board: see `tally.ts`. Each contact with how many rows it has. */
export interface TallyRow {
  owner: string;
  of_job: boolean;
  /** All rows there ever were, those taken back too. */
  rows: number;
  contacts: Record<string, number>;
  newest_ms: number;
}

export interface DraftRow {
  key: string;
  value: unknown;
  saved_at_ms: number;
}

/** A picture, or its small one, as plain bytes: some browsers cannot store Blobs. */
export interface PictureRow {
  sha256: string;
  mime: string;
  bytes: ArrayBuffer;
}

/** How far a picture is on its way to the shop; apart from its bytes, so that asking reads no picture. */
export interface PhotoSendRow {
  sha256: string;
  job_id: string | null;
  status: "waiting" | "known" | "refused";
  problem: Problem | null;
  answered_at_ms: number | null;
}

/** Single values. Each key's type is in `Meta`. */
export interface Meta {
  device: string;
  actor: string;
  hlc: string;
  cursor: number;
  epoch: string;
  last_answer_at_ms: number;
  unreachable_since_ms: number | null;
  trouble: Problem | null;
  clock_off_ms: number | null;
  first_pull_done: boolean;
  habits: Habits;
  token: string;
  paired_as: Phone;
  entry_refused: Problem | null;
  /** Other addresses of the shop's server, as it last told them. */
  shop_addresses: string[];
  /** The address the shop hands out now, where this app's own no longer leads there. */
  shop_moved_to: string | null;
  all_sent_at_ms: number;
}

export class PhoneDb extends Dexie {
  declare facts: Table<FactRow, [string, string]>;
  declare fields: Table<EntityRow, [string, string]>;
  declare removed: Table<RemovedRow, [string, string]>;
  declare changes: Table<OwnChangeRow, number>;
  declare newer: Table<NewerRow, string>;
  declare meta: Table<{ key: string; value: unknown }, string>;
  declare drafts: Table<DraftRow, string>;
  declare opinions: Table<OpinionRow, string>;
  declare tallies: Table<TallyRow, string>;
  declare photos: Table<PictureRow, string>;
  declare thumbs: Table<PictureRow, string>;
  declare photo_sends: Table<PhotoSendRow, string>;

  constructor(name = "second-probe") {
    // strict: "complete" then means on disk, not in the operating system's memory
    super(name, { chromeTransactionDurability: "strict" });
    this.version(1).stores({
      facts: "[kind+id], [kind+job_id], [kind+reference_board_id], [kind+board_version_id], [job_id+contact]",
      fields: "[kind+id], kind",
      removed: "[kind+id]",
      changes: "device_seq, &id, status",
      newer: "id",
      meta: "key",
      drafts: "key",
      opinions: "job_id",
    });
    this.version(2)
      .stores({ tallies: "owner" })
      .upgrade(async (kept) => {
        const readings = await allReadings(kept.table<FactRow>("facts")).toArray();
        await kept.table<TallyRow>("tallies").bulkPut(talliesOf(readings));
      });
    this.version(3).stores({ photos: "sha256", thumbs: "sha256", photo_sends: "sha256, status" });
  }

  /** What applying a change may write. */
  get record(): Table[] {
    return [this.facts, this.fields, this.removed, this.newer, this.tallies];
  }

  async metaOf<K extends keyof Meta>(key: K): Promise<Meta[K] | undefined> {
    return (await this.meta.get(key))?.value as Meta[K] | undefined;
  }

  async setMeta<K extends keyof Meta>(key: K, value: Meta[K]): Promise<void> {
    await this.meta.put({ key, value });
  }
}

const CONNECTION_LOST = new Set(["DatabaseClosedError", "UnknownError", "InvalidStateError", "AbortError"]);

function isConnectionLost(error: unknown): boolean {
  const named = error as { name?: string; inner?: { name?: string } } | null;
  // a full disk also arrives as an abort; trying again would only hide it
  if (isStorageFull(error)) return false;
  return CONNECTION_LOST.has(named?.name ?? "") || CONNECTION_LOST.has(named?.inner?.name ?? "");
}

export function isStorageFull(error: unknown): boolean {
  const named = error as { name?: string; inner?: { name?: string } } | null;
  return named?.name === "QuotaExceededError" || named?.inner?.name === "QuotaExceededError";
}

/** One reopening at a time: a second one would cut off what the first let go on. */
const reopenings = new WeakMap<PhoneDb, Promise<void>>();

function reopened(db: PhoneDb): Promise<void> {
  const underWay = reopenings.get(db);
  if (underWay !== undefined) return underWay;
  const reopening = reopen(db).finally(() => reopenings.delete(db));
  reopenings.set(db, reopening);
  return reopening;
}

async function reopen(db: PhoneDb): Promise<void> {
  db.close({ disableAutoOpen: false });
  await db.open();
}

/**
 * Does `work`, and once more on a fresh connection when the browser dropped the old one: phones do
 * that to apps in the background. `work` must be safe to do twice. Whoever meets the dropped
 * connection first opens the new one; the others go on with that.
 */
export async function onLiveConnection<T>(db: PhoneDb, work: () => Promise<T>): Promise<T> {
  const held = connectionOf(db);
  try {
    return await work();
  } catch (error) {
    if (!isConnectionLost(error)) throw error;
    const now = connectionOf(db);
    if (now === null || now === held) await reopened(db);
    return await work();
  }
}

function connectionOf(db: PhoneDb): IDBDatabase | null {
  return db.isOpen() ? db.backendDB() : null;
}
