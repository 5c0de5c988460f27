/**
 * What a screen can do to the record, each as the changes it is made of. Decides: which ids, times and
 * fields of the job go into a new record. Leaves to others: keeping it (`write.ts`) and judging it.
 */
import { uuidv7 } from "uuidv7";

import type { FactKind, MakeSafeProof, Observation, Reading } from "../generated/models";
import { whyNotOnSockets } from "../bench/meter_fits";
import type { FactRow, PhoneDb } from "./db";
import {
  type Door,
  type JobFields,
  type NewObservation,
  type NewProof,
  type NewReading,
  StoreError,
  type WholeJob,
} from "./door";
import { gateOfJob } from "./read_job";
import { forgetting, keeping, newPhoto, photoBodies } from "./photos";
import { visibleEntity } from "./rows";
import { wholeJob, wholeMeter } from "./whole";
import type { Writer } from "./write";

type Edits = Pick<
  Door,
  "takeDeviceIn" | "takeHealthyBoardIn" | "readAnotherSocket" | "setReferenceBoard" | "setJobFields" | "addProof" | "addReading" | "replaceReading" | "takeBack" | "addObservation" | "addPhoto" | "setMeter"
>;

export function edits(db: PhoneDb, writer: Writer): Edits {
  const actor = async (): Promise<string> => (await db.metaOf("actor")) ?? "";

  const addFact = async (kind: FactKind, record: object & { id: string }, draftKey?: string): Promise<string> => {
    await writer.commit([{ what: "added", kind, record }], draftKey);
    return record.id;
  };

  /** No write names a meter that never goes on a socket. */
  const insistOn = async (meterId: string | null | undefined): Promise<void> => {
    if (meterId == null) return;
    const row = await visibleEntity(db, "meter", meterId);
    const why = row === null ? null : whyNotOnSockets(wholeMeter(row));
    if (why !== null) throw new StoreError("meter_not_for_sockets", why);
  };

  return {
    async takeDeviceIn(fields, draftKey) {
      await insistOn(fields.meter_id);
      const id = uuidv7();
      const whole: JobFields = { opened_at_ms: Date.now(), ...fields };
      await writer.commit([{ what: "fields_set", kind: "job", id, fields: { ...whole } }], draftKey);
      return id;
    },

    async takeHealthyBoardIn(fields, draftKey) {
      const { board_version_id, socket, title, air_c } = fields;
      if (!board_version_id || !socket) {
        throw new StoreError("not_complete", "A healthy board needs its board and socket (for example T10, J14).");
      }
      await insistOn(fields.meter_id);
      const [id, board] = [uuidv7(), uuidv7()];
      const now = Date.now();
      const healthy = { board_version_id, label: title ?? "", read_at_ms: now, air_c: air_c ?? null };
      const job: JobFields = { opened_at_ms: now, ...fields, reference_board_id: board };
      // one transaction: a job without its board would have nowhere to put a reading
      await writer.commit(
        [
          { what: "fields_set", kind: "reference_board", id: board, fields: healthy },
          { what: "fields_set", kind: "job", id, fields: { ...job } },
        ],
        draftKey,
      );
      return id;
    },

    async readAnotherSocket(jobId, socket) {
      const { reference_board_id, board_version_id, title, meter_id, air_c, conditions } = await jobOf(db, jobId);
      if (reference_board_id === null) throw new StoreError("not_complete", "This job reads no healthy board.");
      const id = uuidv7();
      const same = { reference_board_id, board_version_id, title, meter_id, air_c, conditions: [...conditions] };
      const fields: JobFields = { ...same, socket, opened_at_ms: Date.now() };
      await writer.commit([{ what: "fields_set", kind: "job", id, fields: { ...fields } }]);
      return id;
    },

    async setReferenceBoard(boardId, fields) {
      if ((await visibleEntity(db, "reference_board", boardId)) === null) throw notFound("healthy board", boardId);
      await writer.commit([{ what: "fields_set", kind: "reference_board", id: boardId, fields: { ...fields } }]);
    },

    async setJobFields(jobId, fields, draftKey) {
      await jobOf(db, jobId);
      await insistOn(fields.meter_id);
      await writer.commit([{ what: "fields_set", kind: "job", id: jobId, fields: { ...fields } }], draftKey);
    },

    async addProof(jobId, proof, draftKey) {
      await jobOf(db, jobId);
      return addFact("make_safe", newProof(jobId, proof, await actor()), draftKey);
    },

    async addReading(jobId, reading, draftKey) {
      const job = await jobOf(db, jobId);
      const record = newReading(job, reading, await actor());
      if (atTheSocketInDiodeMode(record)) await insistOn(record.meter_id);
      await mustBeSafe(db, job);
      return addFact("reading", record, draftKey);
    },

    async replaceReading(readingId, fields, draftKey) {
      const old = await db.facts.get(["reading", readingId]);
      if (old === undefined) throw notFound("reading", readingId);
      return addFact("reading", replacement(old, fields, await actor()), draftKey);
    },

    async takeBack(kind, id, why) {
      await writer.commit([{ what: "removed", kind, id, why }], undefined, kind === "photo" ? forgetting(db, id) : undefined);
    },

    async addObservation(jobId, observation, draftKey) {
      await jobOf(db, jobId);
      return addFact("observation", newObservation(jobId, observation, await actor()), draftKey);
    },

    async addPhoto(jobId, picture, { observation, draftKey } = {}) {
      await jobOf(db, jobId);
      const photo = newPhoto(jobId, picture);
      const seen = observation === undefined ? null : newObservation(jobId, observation, await actor());
      await writer.commit(photoBodies(photo, seen), draftKey, keeping(db, jobId, picture));
      return photo.id;
    },

    async setMeter(meterId, fields) {
      if (meterId === null && !fields.name) {
        throw new StoreError("not_complete", "A new meter needs a name (for example Bench meter 2).");
      }
      const id = meterId ?? uuidv7();
      await writer.commit([{ what: "fields_set", kind: "meter", id, fields: { ...fields } }]);
      return id;
    },
  };
}

async function jobOf(db: PhoneDb, jobId: string): Promise<WholeJob> {
  const row = await visibleEntity(db, "job", jobId);
  if (row === null) throw notFound("job", jobId);
  return wholeJob(row);
}

/** No screen stands between a reading and a live board but this: whatever asks, the proofs come first. */
async function mustBeSafe(db: PhoneDb, job: WholeJob): Promise<void> {
  const { open, steps, waits_for } = await gateOfJob(db, job);
  if (open) return;
  const waiting = steps.filter(({ step }) => waits_for.includes(step.id)).map(({ step }) => step.title);
  throw new StoreError("not_safe", `Not made safe yet, so no reading is taken. It waits for: ${waiting.join(", ")}.`);
}

function notFound(kind: string, id: string): StoreError {
  return new StoreError("not_found", `There is no ${kind} ${id} on this phone, or it was taken back.`);
}

function newProof(job_id: string, proof: NewProof, proved_by: string): MakeSafeProof {
  return { ...proof, id: uuidv7(), job_id, proved_at_ms: Date.now(), proved_by };
}

function newReading(job: WholeJob, given: NewReading, taken_by: string): Reading {
  const { socket, meter_id, air_c } = { ...job, ...withoutUndefined(given) };
  if (socket === null) throw new StoreError("not_complete", "This job names no socket yet: choose one before reading.");
  if (meter_id === null) throw new StoreError("not_complete", "This job names no meter yet: choose one before reading.");
  const record = { ...ofWhom(job), ...withoutUndefined(given), id: uuidv7(), socket, meter_id, air_c: air_c ?? null, taken_by };
  return { ...record, taken_at_ms: Date.now() };
}

function atTheSocketInDiodeMode({ kind, subject }: Reading): boolean {
  return kind === "drop" && (subject ?? "board_socket") === "board_socket";
}

/** Whose reading it is, and what stood around it: a healthy board's own, or the job's. */
function ofWhom(job: WholeJob): Pick<Reading, "of" | "stage" | "conditions"> {
  const conditions = job.conditions.length === 0 ? {} : { conditions: [...job.conditions] };
  if (job.reference_board_id === null) return { of: { what: "job", job_id: job.id }, stage: job.stage, ...conditions };
  const of = { what: "reference_board", reference_board_id: job.reference_board_id } as const;
  return { of, stage: "on_healthy_board", ...conditions };
}

function replacement(old: FactRow, fields: Partial<NewReading>, taken_by: string): Reading {
  // a value that came with the old text would not fit the new one
  const { value: _, ...kept } = old.record as unknown as Reading;
  return { ...kept, ...withoutUndefined(fields), id: uuidv7(), supersedes: old.id, taken_at_ms: Date.now(), taken_by };
}

function newObservation(job_id: string, given: NewObservation, seen_by: string): Observation {
  return { ...given, id: uuidv7(), of: { what: "job", job_id }, seen_at_ms: Date.now(), seen_by };
}

function withoutUndefined<T extends object>(given: T): T {
  return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined)) as T;
}
