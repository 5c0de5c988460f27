/** The job list as trays of cards: counts and states only, so that a shop's thousand jobs stay cheap. */
import Dexie from "dexie";

import type { BoardVersion, ContactCorrection, MakeSafeProof, Tray } from "../generated/models";
import tables from "../generated/tables.json";
import type { EntityRow, FactRow, PhoneDb } from "./db";
import type { JobCard, TrayView } from "./door";
import { gateOf, readingsMadeIn, socketOf } from "./read_job";
import { visibleEntities, visibleFacts, visibleFactsOf } from "./rows";
import { wholeJob } from "./whole";

interface Shop {
  boards: Map<string, BoardVersion>;
  corrections: ContactCorrection[];
  contacts_read: Map<string, number>;
  waiting: Map<string, number>;
}

export async function readTrays(db: PhoneDb): Promise<TrayView[]> {
  const boards = await visibleFacts<BoardVersion>(db, "board_version");
  const shop: Shop = {
    boards: new Map(boards.map((board) => [board.id, board])),
    corrections: await visibleFacts<ContactCorrection>(db, "correction"),
    contacts_read: await contactsRead(db),
    waiting: await waitingByJob(db),
  };
  const rows = await visibleEntities(db, "job");
  const cards = await Promise.all(rows.map((row) => card(db, shop, row)));
  cards.sort((a, b) => b.touched_at_ms - a.touched_at_ms || (a.id < b.id ? 1 : -1));
  return tables.trays.map(({ id, words }) => ({
    id: id as Tray,
    words,
    jobs: cards.filter((each) => each.tray === id),
  }));
}

async function card(db: PhoneDb, shop: Shop, row: EntityRow): Promise<JobCard> {
  const job = wholeJob(row);
  const board = shop.boards.get(job.board_version_id ?? "") ?? null;
  const socket = socketOf(board, job.socket);
  const proofs = await visibleFactsOf<MakeSafeProof>(db, "make_safe", "job_id", job.id);
  const corrections = shop.corrections.filter((each) => each.board_version_id === board?.id);
  const healthy = job.reference_board_id !== null;
  const made = healthy ? await readingsMadeIn(db, job) : [];
  return {
    id: job.id,
    title: job.title,
    tray: job.tray,
    opened_at_ms: job.opened_at_ms,
    data_matters: job.intake.data_matters,
    device: board?.device ?? "",
    board: board?.board ?? "",
    socket: job.socket,
    contacts_read: healthy ? contactsIn(made) : (shop.contacts_read.get(job.id) ?? 0),
    contacts_all: socket?.contacts.length ?? 0,
    gate_open: gateOf(socket, corrections, proofs).open,
    touched_at_ms: Math.max(job.opened_at_ms, healthy ? takenAtMs(made.at(-1)) : await newestReadingMs(db, job.id)),
    waiting: shop.waiting.get(job.id) ?? 0,
    healthy,
  };
}

/** Out of the index alone: one key a job and contact, no row is opened. */
async function contactsRead(db: PhoneDb): Promise<Map<string, number>> {
  const all = [[Dexie.minKey, Dexie.minKey], [Dexie.maxKey, Dexie.maxKey]] as const;
  const keys = await db.facts.where("[job_id+contact]").between(all[0], all[1]).uniqueKeys();
  return countBy(keys as unknown as [string, string][], ([jobId]) => jobId);
}

async function waitingByJob(db: PhoneDb): Promise<Map<string, number>> {
  const rows = await db.changes.where("status").equals("waiting").toArray();
  return countBy(rows, (row) => row.job_id ?? "");
}

/** By the last id, since ids made by devices sort by time. */
async function newestReadingMs(db: PhoneDb, jobId: string): Promise<number> {
  const row = await db.facts.where("[kind+job_id]").equals(["reading", jobId]).last();
  return takenAtMs(row);
}

function takenAtMs(row: FactRow | undefined): number {
  return (row?.record["taken_at_ms"] as number | undefined) ?? 0;
}

/** Different contacts in rows that are not taken back. */
function contactsIn(rows: readonly FactRow[]): number {
  return new Set(rows.filter((row) => row.gone === 0).flatMap((row) => row.contact ?? [])).size;
}

function countBy<T>(items: readonly T[], keyOf: (item: T) => string): Map<string, number> {
  const counts = new Map<string, number>();
  for (const item of items) counts.set(keyOf(item), (counts.get(keyOf(item)) ?? 0) + 1);
  return counts;
}
