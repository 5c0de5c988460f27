/**
 * Handing back: who had what when, what the owner agreed to, and the papers. Facts are only added; the newest
 * consent of a kind counts. The papers are the engine's; here is only what the record holds of the job.
 */
import { uuidv7 } from "uuidv7";

import type { EngineBridge } from "../engine_worker/bridge";
import type {
  Closing,
  Consent,
  Custody,
  FactKind,
  FileKind,
  Job,
  MakeSafeProof,
  Observation,
  OwnerPage,
  PapersQuestion,
  Photo,
  PowerCheck,
  RailPoint,
  Reading,
  ReadingsFile,
  ReadingsQuestion,
  Shop,
  ShopFigures,
  TechnicianSheet,
} from "../generated/models";
import tables from "../generated/tables.json";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import { type Live, StoreError } from "./door";
import type { Learning } from "./learning";
import { readingsMadeIn } from "./read_job";
import { visibleEntity, visibleFactsOf } from "./rows";
import { allMeters, assembleSheet } from "./sheet";
import { wholeJob } from "./whole";
import type { Writer } from "./write";

export type ConsentTo = Consent["to"];
export type NewCustody = Pick<Custody, "of" | "event"> & Partial<Omit<Custody, "id" | "job_id" | "of" | "event" | "noted_by" | "v">>;
export type NewConsent = Pick<Consent, "to" | "given"> & Partial<Pick<Consent, "signed_name" | "strokes">>;

export interface HandBackView {
  /** Oldest first. */
  custody: Custody[];
  /** Oldest first. */
  consents: Consent[];
  /** The newest of each kind, which counts. */
  newest: Partial<Record<ConsentTo, Consent>>;
}

export interface HandBackDoors {
  handBack(jobId: string): Live<HandBackView>;
  addCustody(jobId: string, custody: NewCustody): Promise<string>;
  /** With the words of the table. Agreeing needs a signature, or the name that stands for it. */
  addConsent(jobId: string, consent: NewConsent): Promise<string>;
  askOwnerPage(jobId: string): Promise<BenchAnswer<OwnerPage>>;
  askTechnicianSheet(jobId: string): Promise<BenchAnswer<TechnicianSheet>>;
  askReadingsFile(jobId: string, wanted: FileKind): Promise<BenchAnswer<ReadingsFile>>;
}

export function handBackDoors(
  db: PhoneDb,
  writer: Writer,
  bridge: EngineBridge,
  learning: Learning,
  asked: <T>(query: () => Promise<T>) => Live<T>,
): HandBackDoors {
  const add = async (kind: FactKind, record: object & { id: string }): Promise<string> => {
    await writer.commit([{ what: "added", kind, record }]);
    return record.id;
  };
  const papersOf = async (jobId: string): Promise<PapersQuestion> => {
    const learnt = await learning.shop();
    return onLiveConnection(db, () => papersQuestion(db, jobId, learnt));
  };
  const actor = async (): Promise<string> => (await db.metaOf("actor")) ?? "";
  return {
    handBack: (jobId) => asked(() => readHandBack(db, jobId)),
    addCustody: async (job_id, given) => {
      await jobOf(db, job_id);
      insistOnWhoAndWhen(given);
      insistOnHow(given);
      const custody: Custody = { happened_at_ms: Date.now(), ...given, id: uuidv7(), job_id, noted_by: await actor() };
      return add("custody", custody);
    },
    addConsent: async (job_id, given) => {
      await jobOf(db, job_id);
      insistOnSignature(given);
      const words = tables.hand_back.consents.find(({ id }) => id === given.to)?.words ?? "";
      const consent: Consent = { ...given, id: uuidv7(), job_id, words, given_at_ms: Date.now(), taken_by: await actor() };
      return add("consent", consent);
    },
    askOwnerPage: async (jobId) => askEngine<OwnerPage>(bridge, "owner_page", await papersOf(jobId)),
    askTechnicianSheet: async (jobId) => askEngine<TechnicianSheet>(bridge, "technician_sheet", await papersOf(jobId)),
    askReadingsFile: async (jobId, wanted) =>
      askEngine<ReadingsFile>(bridge, "readings_file", await onLiveConnection(db, () => readingsQuestion(db, jobId, wanted))),
  };
}

async function readHandBack(db: PhoneDb, jobId: string): Promise<HandBackView> {
  const [custody, consents] = await Promise.all([
    visibleFactsOf<Custody>(db, "custody", "job_id", jobId),
    visibleFactsOf<Consent>(db, "consent", "job_id", jobId),
  ]);
  custody.sort((a, b) => a.happened_at_ms - b.happened_at_ms || (a.id < b.id ? -1 : 1));
  consents.sort((a, b) => a.given_at_ms - b.given_at_ms || (a.id < b.id ? -1 : 1));
  return { custody, consents, newest: Object.fromEntries(consents.map((one) => [one.to, one])) };
}

/** What changed hands without a name, or at a time that is still to come, tells nobody who had it. */
function insistOnWhoAndWhen({ event, from_whom, to_whom, happened_at_ms }: NewCustody): void {
  const from = event === "received" || event === "came_back";
  const to = event === "returned" || event === "handed_on";
  if (from && !from_whom?.trim()) throw new StoreError("not_complete", "Say from whom it came, for example: the owner.");
  if (to && !to_whom?.trim()) throw new StoreError("not_complete", "Say to whom it went, for example: the owner.");
  if ((happened_at_ms ?? 0) > Date.now()) {
    throw new StoreError("not_complete", "When it happened is still to come. Take its day and hour, or leave it empty for now.");
  }
}

/** Storage that ended needs the way it ended and how that was shown, or the note is worth nothing later. */
function insistOnHow({ event, sanitised, verified_how }: NewCustody): void {
  if (event !== "sanitised") return;
  if (!sanitised) throw new StoreError("not_complete", "Say which way: clear, purge or destroy.");
  if (!verified_how?.trim()) {
    throw new StoreError("not_complete", "Say how it was verified (for example: read back, all blocks empty).");
  }
}

function insistOnSignature({ given, signed_name, strokes }: NewConsent): void {
  if (!given || signed_name?.trim() || (strokes?.length ?? 0) > 0) return;
  throw new StoreError("not_complete", "Agreeing needs a signature on the glass, or the typed name that stands for it.");
}

async function jobOf(db: PhoneDb, jobId: string): Promise<ReturnType<typeof wholeJob>> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) throw new StoreError("not_found", `There is no job ${jobId} on this phone, or it was taken back.`);
  return wholeJob(row);
}

async function papersQuestion(db: PhoneDb, jobId: string, learnt: Shop | null): Promise<PapersQuestion> {
  const job = await jobOf(db, jobId);
  const of = <T>(kind: FactKind): Promise<T[]> => visibleFactsOf<T>(db, kind, "job_id", jobId);
  const assembled = await assembleSheet(db, jobId, {}, learnt);
  const shop = await visibleEntity(db, "shop", "shop");
  const made_at_ms = Date.now();
  return {
    job: job as unknown as Job,
    sheet: "sheet" in assembled ? assembled.sheet : null,
    photos: await of<Photo>("photo"),
    observations: await of<Observation>("observation"),
    make_safe: await of<MakeSafeProof>("make_safe"),
    power_checks: await of<PowerCheck>("power_check"),
    rail_points: await of<RailPoint>("rail_point"),
    custody: await of<Custody>("custody"),
    consents: await of<Consent>("consent"),
    closings: await of<Closing>("closing"),
    shop: shop === null ? null : ({ ...shop.values, id: shop.id } as ShopFigures),
    made_at_ms,
    minutes_east: -new Date(made_at_ms).getTimezoneOffset(),
    made_by: (await db.metaOf("actor")) ?? "",
  };
}

async function readingsQuestion(db: PhoneDb, jobId: string, wanted: FileKind): Promise<ReadingsQuestion> {
  const job = await jobOf(db, jobId);
  const rows = await readingsMadeIn(db, job);
  const here = rows.filter(({ record }) => job.reference_board_id === null || record["socket"] === job.socket);
  return {
    job: job as unknown as Job,
    readings: here.map(({ record }) => record as unknown as Reading),
    removed_ids: here.filter(({ gone }) => gone === 1).map(({ id }) => id),
    meters: await allMeters(db),
    wanted,
  };
}
