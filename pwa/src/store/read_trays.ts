/** The job list as trays of cards: counts and states only, so that a shop's thousand jobs stay cheap. */
import type { BoardVersion, ContactCorrection, MakeSafeProof, Tray } from "../generated/models";
import tables from "../generated/tables.json";
import type { EntityRow, PhoneDb, TallyRow } from "./db";
import type { JobCard, TrayView } from "./door";
import { gateOf, socketOf } from "./read_job";
import { visibleEntities, visibleFacts } from "./rows";
import { wholeJob } from "./whole";

interface Shop {
  boards: Map<string, BoardVersion>;
  corrections: ContactCorrection[];
  proofs: Map<string, MakeSafeProof[]>;
  tallies: Map<string, TallyRow>;
  waiting: Map<string, number>;
}

export async function readTrays(db: PhoneDb): Promise<TrayView[]> {
  const [boards, corrections, proofs, tallies, waiting, rows] = await Promise.all([
    visibleFacts<BoardVersion>(db, "board_version"),
    visibleFacts<ContactCorrection>(db, "correction"),
    visibleFacts<MakeSafeProof>(db, "make_safe"),
    db.tallies.toArray(),
    waitingByJob(db),
    visibleEntities(db, "job"),
  ]);
  const shop: Shop = {
    boards: new Map(boards.map((board) => [board.id, board])),
    corrections,
    proofs: groupBy(proofs, (proof) => proof.job_id),
    tallies: new Map(tallies.map((tally) => [tally.owner, tally])),
    waiting,
  };
  const cards = rows.map((row) => card(shop, row));
  cards.sort((a, b) => b.touched_at_ms - a.touched_at_ms || (a.id < b.id ? 1 : -1));
  return tables.trays.map(({ id, words }) => ({
    id: id as Tray,
    words,
    jobs: cards.filter((each) => each.tray === id),
  }));
}

function card(shop: Shop, row: EntityRow): JobCard {
  const job = wholeJob(row);
  const board = shop.boards.get(job.board_version_id ?? "") ?? null;
  const socket = socketOf(board, job.socket);
  const corrections = shop.corrections.filter((each) => each.board_version_id === board?.id);
  const tally = shop.tallies.get(job.reference_board_id ?? job.id);
  return {
    id: job.id,
    title: job.title,
    tray: job.tray,
    opened_at_ms: job.opened_at_ms,
    data_matters: job.intake.data_matters,
    device: board?.device ?? "",
    board: board?.board ?? "",
    socket: job.socket,
    contacts_read: Object.keys(tally?.contacts ?? {}).length,
    contacts_all: socket?.contacts.length ?? 0,
    gate_open: gateOf(socket, corrections, shop.proofs.get(job.id) ?? []).open,
    touched_at_ms: Math.max(job.opened_at_ms, tally?.newest_ms ?? 0),
    waiting: shop.waiting.get(job.id) ?? 0,
    healthy: job.reference_board_id !== null,
  };
}

async function waitingByJob(db: PhoneDb): Promise<Map<string, number>> {
  const rows = await db.changes.where("status").equals("waiting").toArray();
  const counts = new Map<string, number>();
  for (const { job_id } of rows) counts.set(job_id ?? "", (counts.get(job_id ?? "") ?? 0) + 1);
  return counts;
}

function groupBy<T>(items: readonly T[], keyOf: (item: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const item of items) {
    const group = groups.get(keyOf(item));
    if (group === undefined) groups.set(keyOf(item), [item]);
    else group.push(item);
  }
  return groups;
}
