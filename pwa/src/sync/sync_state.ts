/** What is between this phone and the server, out of the outbox and what the last round left behind. */
import { writable } from "svelte/store";

import type { Body } from "../generated/models";
import type { NewerRow, OwnChangeRow, PhoneDb, PhotoSendRow } from "../store/db";
import { msOf } from "../store/hlc";
import type { Live, NewerChange, RefusedChange, RefusedPhoto, State, SyncState } from "../store/door";

const NOTHING_KNOWN: SyncState = {
  waiting: 0,
  waiting_since_ms: null,
  all_sent_at_ms: null,
  photos_waiting: 0,
  photos_refused: [],
  running: false,
  last_answer_at_ms: null,
  unreachable_since_ms: null,
  trouble: null,
  refused: [],
  newer: [],
  clock_off_ms: null,
  first_pull_done: false,
  moved_to: null,
};

export async function readSync(db: PhoneDb): Promise<SyncState> {
  return {
    waiting: await db.changes.where("status").equals("waiting").count(),
    waiting_since_ms: await oldestWaiting(db),
    all_sent_at_ms: (await db.metaOf("all_sent_at_ms")) ?? null,
    photos_waiting: await db.photo_sends.where("status").equals("waiting").count(),
    photos_refused: (await db.photo_sends.where("status").equals("refused").toArray()).map(refusedPhoto),
    running: false,
    last_answer_at_ms: (await db.metaOf("last_answer_at_ms")) ?? null,
    unreachable_since_ms: (await db.metaOf("unreachable_since_ms")) ?? null,
    trouble: (await db.metaOf("trouble")) ?? null,
    refused: (await db.changes.where("status").equals("refused").toArray()).map(refusedChange),
    newer: (await db.newer.toArray()).map(newerChange),
    clock_off_ms: (await db.metaOf("clock_off_ms")) ?? null,
    first_pull_done: (await db.metaOf("first_pull_done")) ?? false,
    moved_to: (await db.metaOf("shop_moved_to")) ?? null,
  };
}

/** Rows of one status lie in the order of their keys: an edit from another phone's file first, then this device's. */
async function oldestWaiting(db: PhoneDb): Promise<number | null> {
  const oldest = await db.changes.where("status").equals("waiting").first();
  return oldest === undefined ? null : msOf(oldest.change.hlc);
}

function refusedChange(row: OwnChangeRow): RefusedChange {
  return {
    change_id: row.id,
    problem: row.problem ?? { code: "refused", message: "The server gave no reason." },
    kind: row.kind,
    record_id: row.record_id,
    job_id: row.job_id,
    refused_at_ms: row.answered_at_ms ?? 0,
  };
}

function refusedPhoto({ sha256, job_id, problem }: PhotoSendRow): RefusedPhoto {
  return { sha256, job_id, problem: problem ?? { code: "refused", message: "The server gave no reason." } };
}

function newerChange({ change }: NewerRow): NewerChange {
  return { change_id: change.id, device: change.device, v: (change.body as Body).v ?? 1 };
}

/**
 * The stored part and whether a round is being made in this tab, as one value that is always there.
 * Followed from the start on, so that a screen that comes later begins with what is known by then.
 */
export function syncState(stored: Live<SyncState>, running: State<boolean>): State<SyncState> {
  const state = writable(NOTHING_KNOWN);
  stored.subscribe((value) => {
    if (value !== undefined) state.update((now) => ({ ...value, running: now.running }));
  });
  running.subscribe((value) => state.update((now) => ({ ...now, running: value })));
  return { subscribe: state.subscribe };
}
