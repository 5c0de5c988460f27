/** One job with everything a screen needs of it, out of the rows; no row is judged here. */
import type {
  BoardVersion,
  ContactCorrection,
  MakeSafeProof,
  MakeSafeStep,
  Observation,
  Photo,
  Reading,
  Role,
  Socket,
  Stage,
} from "../generated/models";
import tables from "../generated/tables.json";
import type { FactRow, PhoneDb } from "./db";
import type { GateState, JobView, ReadingRow, WholeJob, WholeMeter } from "./door";
import { gate } from "./gate";
import { placesOf } from "./photos";
import { factsOf, visibleEntities, visibleEntity, visibleFact, visibleFactsOf } from "./rows";
import { referenceBoards } from "./sheet";
import { wholeJob, wholeMeter } from "./whole";

export async function readJob(db: PhoneDb, jobId: string): Promise<JobView | null> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) return null;
  const job = wholeJob(row);
  const board = await visibleFact<BoardVersion>(db, "board_version", job.board_version_id);
  const socket = socketOf(board, job.socket);
  const [proofs, observations, photos, corrections, rows, meters, references, newer] = await Promise.all([
    visibleFactsOf<MakeSafeProof>(db, "make_safe", "job_id", jobId),
    visibleFactsOf<Observation>(db, "observation", "job_id", jobId),
    visibleFactsOf<Photo>(db, "photo", "job_id", jobId),
    board === null ? [] : visibleFactsOf<ContactCorrection>(db, "correction", "board_version_id", board.id),
    readingRows(db, job),
    readMeters(db),
    referenceBoards(db),
    db.newer.toArray(),
  ]);
  const stage_rows = rows.filter(({ reading }) => (reading.stage ?? "before_repair") === stageOf(job));
  return {
    job,
    board,
    socket,
    corrections,
    meters,
    meter: meters.find((meter) => meter.id === job.meter_id) ?? null,
    reference_boards: references.filter((each) => each.board_version_id === board?.id),
    rows,
    stage_rows,
    newest_row: newestRows(stage_rows),
    proofs,
    gate: gateOf(socket, corrections, proofs),
    observations,
    photos: photos.sort((a, b) => a.taken_at_ms - b.taken_at_ms || (a.id < b.id ? -1 : 1)),
    photo_places: await placesOf(db, photos),
    newer_rows: newer.filter(({ change }) => JSON.stringify(change.body).includes(`"${jobId}"`)).length,
  };
}

export async function readMeters(db: PhoneDb): Promise<WholeMeter[]> {
  const meters = (await visibleEntities(db, "meter")).map(wholeMeter);
  return meters.sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0));
}

export function socketOf(board: BoardVersion | null, ref: string | null): Socket | null {
  return board?.sockets.find((socket) => socket.ref === ref) ?? null;
}

/** The gate of a socket as corrected; without a socket only the steps that always apply are asked for. */
export function gateOf(
  socket: Socket | null,
  corrections: readonly ContactCorrection[],
  proofs: readonly MakeSafeProof[],
): GateState {
  return gate(tables.make_safe_steps as unknown as MakeSafeStep[], rolesOf(socket, corrections), proofs);
}

/** The gate of one job, asked for by itself. */
export async function gateOfJob(db: PhoneDb, job: WholeJob): Promise<GateState> {
  const board = await visibleFact<BoardVersion>(db, "board_version", job.board_version_id);
  const [proofs, corrections] = await Promise.all([
    visibleFactsOf<MakeSafeProof>(db, "make_safe", "job_id", job.id),
    board === null ? [] : visibleFactsOf<ContactCorrection>(db, "correction", "board_version_id", board.id),
  ]);
  return gateOf(socketOf(board, job.socket), corrections, proofs);
}

/** The role of each contact: the newest correction of it (by `made_at_ms`, then id), else the board's own. */
function rolesOf(socket: Socket | null, corrections: readonly ContactCorrection[]): Role[] {
  const corrected = new Map<string, Role>();
  for (const each of [...corrections].sort((a, b) => a.made_at_ms - b.made_at_ms || (a.id < b.id ? -1 : 1))) {
    if (each.socket === socket?.ref && each.role != null) corrected.set(each.contact, each.role);
  }
  return (socket?.contacts ?? []).map(({ number, role }) => corrected.get(number) ?? role ?? "unknown");
}

/** The stage that is being read: what the next reading will carry. */
export function stageOf(job: WholeJob): Stage {
  return job.reference_board_id === null ? job.stage : "on_healthy_board";
}

/** The readings made in a job; those of a healthy board are the board's own. Taken back ones too: see `FactRow.gone`. */
export function readingsMadeIn(db: PhoneDb, job: WholeJob): Promise<FactRow[]> {
  if (job.reference_board_id === null) return factsOf(db, "reading", "job_id", job.id);
  return factsOf(db, "reading", "reference_board_id", job.reference_board_id);
}

async function readingRows(db: PhoneDb, job: WholeJob): Promise<ReadingRow[]> {
  // a healthy board may have been read at another socket too, which is another job
  const here = (row: FactRow): boolean => job.reference_board_id === null || row.record["socket"] === job.socket;
  const rows = (await readingsMadeIn(db, job)).filter((row) => row.gone === 0 && here(row));
  const waiting = new Set(
    (await db.changes.where("status").equals("waiting").toArray()).map((change) => change.record_id),
  );
  const readings = rows.map((row) => row.record as unknown as Reading);
  const replaced_by = new Map(readings.map((reading) => [reading.supersedes ?? "", reading.id]));
  return rows
    .map((row) => readingRow(row, replaced_by, waiting))
    .sort((a, b) => byAge(a.reading, b.reading));
}

function readingRow(row: FactRow, replaced_by: Map<string, string>, waiting: Set<string>): ReadingRow {
  return {
    reading: row.record as unknown as Reading,
    contact: row.contact ?? null,
    replaced_by: replaced_by.get(row.id) ?? null,
    waiting: waiting.has(row.id),
  };
}

/** Oldest first. */
function byAge(a: Reading, b: Reading): number {
  return a.taken_at_ms - b.taken_at_ms || (a.id < b.id ? -1 : 1);
}

/** `rows` are oldest first, so the last of a contact stays. */
function newestRows(rows: readonly ReadingRow[]): Record<string, ReadingRow> {
  const newest: Record<string, ReadingRow> = {};
  for (const row of rows) if (row.contact !== null) newest[row.contact] = row;
  return newest;
}
