/**
 * A shorted rail and a proven repair: the points of a rail, and two questions to the engine. What is refused, where the
 * short lies and what is mended is the engine's to say; points are kept without it.
 */
import { uuidv7 } from "uuidv7";

import type { EngineBridge } from "../engine_worker/bridge";
import type { BoardVersion, RailPoint, Reading, RepairProof, ShortRail, ShortRailQuestion } from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import { type Live, StoreError } from "./door";
import type { Learning } from "./learning";
import { gateOfJob } from "./read_job";
import { factsOf, visibleEntity, visibleFact, visibleFactsOf } from "./rows";
import { assembleSheet } from "./sheet";
import { wholeJob } from "./whole";
import type { Writer } from "./write";

export type NewRailPoint = Pick<RailPoint, "rail" | "place" | "mv"> &
  Partial<Omit<RailPoint, "id" | "job_id" | "rail" | "place" | "mv" | "taken_at_ms" | "taken_by" | "v">>;

/** What the supply is set to, and whether the owner was asked twice: of this visit alone, nothing of it is kept. */
export type RailSetting = Pick<ShortRailQuestion, "set_mv" | "set_ma" | "asked_twice">;

export interface RailDoors {
  /** The points of a job that stand, oldest first: neither taken back nor corrected. */
  railPoints(jobId: string): Live<RailPoint[]>;
  /** Rejects with `not_safe` while the make-safe gate is shut. */
  addRailPoint(jobId: string, point: NewRailPoint): Promise<string>;
  /** Everything there is to say of one shorted rail; nothing of the answer is kept. */
  askShortRail(jobId: string, rail: string, setting: RailSetting): Promise<BenchAnswer<ShortRail>>;
  /** Before and after the repair, contact by contact. */
  askProof(jobId: string): Promise<BenchAnswer<RepairProof>>;
}

export function railDoors(
  db: PhoneDb,
  bridge: EngineBridge,
  learning: Learning,
  writer: Writer,
  asked: <T>(query: () => Promise<T>) => Live<T>,
): RailDoors {
  return {
    railPoints: (jobId) => asked(() => standingPoints(db, jobId)),
    addRailPoint: (jobId, point) => addRailPoint(db, writer, jobId, point),
    askShortRail: (jobId, rail, setting) => askShortRail(db, bridge, jobId, rail, setting),
    askProof: (jobId) => askProof(db, bridge, learning, jobId),
  };
}

async function standingPoints(db: PhoneDb, jobId: string): Promise<RailPoint[]> {
  const points = await visibleFactsOf<RailPoint>(db, "rail_point", "job_id", jobId);
  const corrected = new Set(points.map((point) => point.supersedes));
  return points
    .filter((point) => !corrected.has(point.id))
    .sort((a, b) => a.taken_at_ms - b.taken_at_ms || (a.id < b.id ? -1 : 1));
}

async function addRailPoint(db: PhoneDb, writer: Writer, jobId: string, point: NewRailPoint): Promise<string> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) throw new StoreError("not_found", `There is no job ${jobId} on this phone, or it was taken back.`);
  if (!(await gateOfJob(db, wholeJob(row))).open) {
    throw new StoreError("not_safe", "Not made safe yet: nothing is injected into a board that still has its own supply.");
  }
  const record: RailPoint = { ...point, id: uuidv7(), job_id: jobId, taken_at_ms: Date.now(), taken_by: (await db.metaOf("actor")) ?? "" };
  await writer.commit([{ what: "added", kind: "rail_point", record }]);
  return record.id;
}

async function askShortRail(db: PhoneDb, bridge: EngineBridge, jobId: string, rail: string, setting: RailSetting): Promise<BenchAnswer<ShortRail>> {
  const question = await onLiveConnection(db, () => railQuestion(db, jobId, rail, setting));
  return question === null ? { is: "failed", why: "This job names no board yet." } : askEngine<ShortRail>(bridge, "short_rail", question);
}

async function railQuestion(db: PhoneDb, jobId: string, rail: string, setting: RailSetting): Promise<ShortRailQuestion | null> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) return null;
  const job = wholeJob(row);
  const board = await visibleFact<BoardVersion>(db, "board_version", job.board_version_id);
  if (board === null) return null;
  const [readings, points] = await Promise.all([factsOf(db, "reading", "job_id", jobId), factsOf(db, "rail_point", "job_id", jobId)]);
  return {
    board,
    rail,
    readings: readings.map((one) => one.record as unknown as Reading),
    points: points.map((one) => one.record as unknown as RailPoint),
    removed_ids: [...readings, ...points].filter((one) => one.gone === 1).map((one) => one.id),
    data_matters: job.intake.data_matters,
    ...setting,
  };
}

async function askProof(db: PhoneDb, bridge: EngineBridge, learning: Learning, jobId: string): Promise<BenchAnswer<RepairProof>> {
  const shop = await learning.shop();
  const question = await onLiveConnection(db, () => assembleSheet(db, jobId, {}, shop));
  return "lacks" in question ? { is: "failed", why: question.lacks } : askEngine<RepairProof>(bridge, "proof", question.sheet);
}
