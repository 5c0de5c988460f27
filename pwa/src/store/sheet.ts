/**
 * The bench sheet of a job: all rows of this job, this board version and these meters. A query, no
 * logic: which rows count is the engine's to say, so rows that were taken back go along and are named.
 */
import type {
  BenchSheet,
  BoardVersion,
  ContactCorrection,
  MakeSafeProof,
  Mode,
  Observation,
  Photo,
  PowerCheck,
  Reading,
  ReferenceBoard,
  Shop,
  ShopFigures,
  Stage,
} from "../generated/models";
import type { FactRow, PhoneDb } from "./db";
import { factsOf, visibleEntities, visibleEntity, visibleFact } from "./rows";
import { wholeJob } from "./whole";

/** A shop has one set of figures, of this id: `closing.SHOP_ID`. */
export const SHOP_ID = "shop";

export interface Question {
  sheet: BenchSheet;
  /** What the sheet held of readings: see `OpinionRow.seen`. */
  seen: string[];
}

/** The sheet of a job, or in words what it lacks. `shop`: what its closed jobs taught (`learning.ts`). */
export async function assembleSheet(
  db: PhoneDb,
  jobId: string,
  how: { mode?: Mode; stage?: Stage },
  shop: Shop | null,
): Promise<Question | { lacks: string }> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) return { lacks: "There is no such job on this phone." };
  const job = wholeJob(row);
  const board = await visibleFact<BoardVersion>(db, "board_version", job.board_version_id);
  if (board === null || job.socket === null) {
    return { lacks: "This job names no board and socket yet; an opinion needs both." };
  }
  const [readings, observations, proofs, corrections, power_checks, photos, known, figures] = await Promise.all([
    factsOf(db, "reading", "job_id", jobId),
    factsOf(db, "observation", "job_id", jobId),
    factsOf(db, "make_safe", "job_id", jobId),
    factsOf(db, "correction", "board_version_id", board.id),
    factsOf(db, "power_check", "job_id", jobId),
    factsOf(db, "photo", "job_id", jobId),
    knownGood(db, board.id),
    figuresOfShop(db),
  ]);
  const rows = [...readings, ...observations, ...proofs, ...corrections, ...power_checks, ...photos, ...known.readings];
  const sheet: BenchSheet = {
    sheet_id: jobId,
    asked_at_ms: Date.now(),
    board,
    socket: job.socket,
    meters: await allMeters(db),
    reference_boards: known.boards,
    known_good_readings: records<Reading>(known.readings),
    readings: records<Reading>(readings),
    removed_ids: rows.filter((each) => each.gone === 1).map((each) => each.id),
    observations: records<Observation>(observations),
    make_safe: records<MakeSafeProof>(proofs),
    corrections: records<ContactCorrection>(corrections),
    intake: job.intake,
    air_c: job.air_c,
    meter_id: job.meter_id,
    stage: job.stage,
    shop,
    storage: job.storage,
    data_set: job.data_set,
    limit_cost: job.limit_cost,
    limit_work_min: job.limit_work_min,
    figures,
    power_checks: records<PowerCheck>(power_checks),
    photos: records<Photo>(photos),
    ...how,
  };
  return { sheet, seen: seenOf(readings) };
}

/** Names every reading, and every taking back of one, so that a later list shows what is new. */
export function seenOf(readings: readonly FactRow[]): string[] {
  return readings.flatMap((row) => (row.gone === 1 ? [row.id, `gone ${row.id}`] : [row.id]));
}

const records = <T>(rows: readonly FactRow[]): T[] => rows.map((row) => row.record as T);

export async function allMeters(db: PhoneDb): Promise<NonNullable<BenchSheet["meters"]>> {
  return (await visibleEntities(db, "meter"))
    .filter((row) => typeof row.values["name"] === "string")
    .map(({ id, values }) => ({ ...(values as { name: string }), id }));
}

export async function knownGood(db: PhoneDb, boardId: string): Promise<{ boards: ReferenceBoard[]; readings: FactRow[] }> {
  const boards = (await referenceBoards(db)).filter((board) => board.board_version_id === boardId);
  const lists = await Promise.all(boards.map(({ id }) => factsOf(db, "reading", "reference_board_id", id)));
  return { boards, readings: lists.flat() };
}

/** The shop's own figures, as far as anybody set them. */
export async function figuresOfShop(db: PhoneDb): Promise<ShopFigures | null> {
  const row = await visibleEntity(db, "shop", SHOP_ID);
  return row === null ? null : { ...(row.values as Partial<ShopFigures>), id: SHOP_ID };
}

/** Healthy boards that were read; one known only by an edit of another field names no version yet. */
export async function referenceBoards(db: PhoneDb): Promise<ReferenceBoard[]> {
  return (await visibleEntities(db, "reference_board"))
    .filter((row) => typeof row.values["board_version_id"] === "string")
    .map(({ id, values }) => ({ ...(values as { board_version_id: string }), id }));
}
