/**
 * The end of a job, out of and into the record. Decides: what is said before a job is closed (readings on their way,
 * no opinion), and which closings still stand as rows. Which of two counts, and what was learnt, is the engine's.
 */
import { uuidv7 } from "uuidv7";

import type { EngineBridge } from "../engine_worker/bridge";
import type { Body, Closing, ClosingFacts, Reading, Tray, WasWrong } from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import { type Live, StoreError, type WholeJob } from "./door";
import type { Learning } from "./learning";
import { factsOf, visibleEntity, visibleFactsOf } from "./rows";
import { assembleSheet, seenOf } from "./sheet";
import { wholeJob } from "./whole";
import type { Writer } from "./write";

/** A closing as it was entered: everything that does not come by itself. */
export type NewClosing = Omit<Closing, "id" | "job_id" | "closed_at_ms" | "closed_by" | "v">;

export interface ClosingRow {
  closing: Closing;
  /** A later closing names this one: a plain fact of the rows. */
  replaced: boolean;
  /** The shop has not answered for it yet. */
  waiting: boolean;
}

export interface ClosingState {
  /** Oldest first. */
  rows: ClosingRow[];
  /** Those that no other one names; two or more: somebody has to say which holds. */
  standing: Closing[];
  /** Readings of this job that the shop does not have yet, and those it refused. */
  readings_waiting: number;
  readings_refused: number;
  /** Readings that the last opinion has not seen; null: there is no opinion. */
  opinion_behind: number | null;
}

export interface ClosingDoors {
  closings(jobId: string): Live<ClosingState>;
  /** What goes into a closing by itself. Fails where no opinion can be formed; the job can be closed all the same. */
  askClosing(jobId: string, wasWrong: readonly WasWrong[]): Promise<BenchAnswer<ClosingFacts>>;
  /**
   * Keeps the closing and moves the job into its tray, in one; `healthy`: readings of the job that stand from now on as
   * a healthy board's too. Gives the closing's id.
   */
  closeJob(jobId: string, closing: NewClosing, tray: Tray | null, draftKey?: string, healthy?: readonly string[]): Promise<string>;
}

export function closingDoors(
  db: PhoneDb,
  bridge: EngineBridge,
  learning: Learning,
  writer: Writer,
  asked: (query: () => Promise<ClosingState>) => Live<ClosingState>,
): ClosingDoors {
  return {
    closings: (jobId) => asked(() => readClosings(db, jobId)),
    askClosing: (jobId, wasWrong) => askFacts(db, bridge, learning, jobId, wasWrong),
    closeJob: async (jobId, closing, tray, draftKey, healthy = []) => {
      const row = await visibleEntity(db, "job", jobId);
      if (row === null) throw new StoreError("not_found", `There is no job ${jobId} on this phone, or it was taken back.`);
      const job = wholeJob(row);
      const { what_happened, symptoms } = job.intake;
      const id = uuidv7();
      const record: Closing = {
        what_happened: [...what_happened],
        symptoms: [...symptoms],
        ...closing,
        id,
        job_id: jobId,
        closed_at_ms: Date.now(),
        closed_by: (await db.metaOf("actor")) ?? "",
      };
      const bodies: Body[] = [{ what: "added", kind: "closing", record }];
      if (tray !== null) bodies.push({ what: "fields_set", kind: "job", id: jobId, fields: { tray } });
      bodies.push(...(await repairedBoard(db, job, new Set(healthy))));
      await writer.commit(bodies, draftKey);
      return id;
    },
  };
}

/**
 * A repaired board as one more healthy one, with copies of the job's readings. All ids come from the job's and the
 * readings': two phones that close the same job make the same board. What identifies the owner stays with the job.
 */
async function repairedBoard(db: PhoneDb, job: WholeJob, healthy: ReadonlySet<string>): Promise<Body[]> {
  const { id: jobId, board_version_id, air_c } = job;
  const readings = (await visibleFactsOf<Reading>(db, "reading", "job_id", jobId)).filter(({ id }) => healthy.has(id));
  if (readings.length === 0 || board_version_id === null) return [];
  const id = `repaired-${jobId}`;
  const there = new Set((await factsOf(db, "reading", "reference_board_id", id)).map((row) => row.id));
  const board = { board_version_id, label: "repaired, works", read_at_ms: Date.now(), air_c };
  const bodies: Body[] = [{ what: "fields_set", kind: "reference_board", id, fields: board }];
  for (const { supersedes: _, note: __, ...kept } of readings) {
    const of = { what: "reference_board", reference_board_id: id } as const;
    const record: Reading = { ...kept, id: `repaired-${kept.id}`, of, stage: "on_healthy_board" };
    if (!there.has(record.id)) bodies.push({ what: "added", kind: "reading", record });
  }
  return bodies;
}

async function readClosings(db: PhoneDb, jobId: string): Promise<ClosingState> {
  const closings = await visibleFactsOf<Closing>(db, "closing", "job_id", jobId);
  closings.sort((a, b) => a.closed_at_ms - b.closed_at_ms || (a.id < b.id ? -1 : 1));
  const named = new Set(closings.flatMap(({ supersedes }) => supersedes ?? []));
  const [waiting, refused] = await Promise.all([changesOf(db, "waiting", jobId), changesOf(db, "refused", jobId)]);
  const sent = new Set(waiting.map(({ record_id }) => record_id));
  return {
    rows: closings.map((closing) => ({ closing, replaced: named.has(closing.id), waiting: sent.has(closing.id) })),
    standing: closings.filter(({ id }) => !named.has(id)),
    readings_waiting: waiting.filter(({ kind }) => kind === "reading").length,
    readings_refused: refused.filter(({ kind }) => kind === "reading").length,
    opinion_behind: await opinionBehind(db, jobId),
  };
}

async function changesOf(db: PhoneDb, status: "waiting" | "refused", jobId: string) {
  return (await db.changes.where("status").equals(status).toArray()).filter(({ job_id }) => job_id === jobId);
}

async function opinionBehind(db: PhoneDb, jobId: string): Promise<number | null> {
  const row = await db.opinions.get(jobId);
  if (row === undefined) return null;
  const seen = new Set(row.seen);
  return seenOf(await factsOf(db, "reading", "job_id", jobId)).filter((name) => !seen.has(name)).length;
}

async function askFacts(
  db: PhoneDb,
  bridge: EngineBridge,
  learning: Learning,
  jobId: string,
  was_wrong: readonly WasWrong[],
): Promise<BenchAnswer<ClosingFacts>> {
  try {
    const shop = await learning.shop();
    // what had been said is about the readings before the repair, whichever are being taken now
    const found = await onLiveConnection(db, () => assembleSheet(db, jobId, { stage: "before_repair" }, shop));
    if ("lacks" in found) return { is: "failed", why: found.lacks };
    return await askEngine<ClosingFacts>(bridge, "closing", { sheet: found.sheet, was_wrong });
  } catch (error) {
    return { is: "failed", why: error instanceof Error ? error.message : String(error) };
  }
}
