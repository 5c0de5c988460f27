/**
 * The end of a job, out of and into the record. Decides: what is said before a job is closed (readings on their way,
 * no opinion), and which closings still stand as rows. Which of two counts, and what was learnt, is the engine's.
 */
import { uuidv7 } from "uuidv7";

import type { EngineBridge } from "../engine_worker/bridge";
import type { Body, Closing, ClosingFacts, Tray, WasWrong } from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import { type Live, StoreError } from "./door";
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
  /** Keeps the closing and moves the job into its tray, in one. Gives the closing's id. */
  closeJob(jobId: string, closing: NewClosing, tray: Tray | null, draftKey?: string): Promise<string>;
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
    closeJob: async (jobId, closing, tray, draftKey) => {
      const row = await visibleEntity(db, "job", jobId);
      if (row === null) throw new StoreError("not_found", `There is no job ${jobId} on this phone, or it was taken back.`);
      const { what_happened, symptoms } = wholeJob(row).intake;
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
      await writer.commit(bodies, draftKey);
      return id;
    },
  };
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
