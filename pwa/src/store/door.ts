/**
 * The one door between the screens and everything inside the phone: what can be read, what can be
 * written, and the states a screen has to show. Types only; `open_door.ts` stands behind it.
 *
 * Decides: the shapes. Leaves to others: which readings count, what a value is, every verdict (the
 * engine, see `StoredOpinion`), and how anything looks.
 *
 * A write's promise resolves only after the database transaction that holds the record AND its
 * outbox row is complete on disk: a screen says "saved" after that, never before. A write that fails
 * rejects with a `StoreError` and also shows in `storage`.
 */
import type {
  BoardVersion,
  ContactCorrection,
  EntityKind,
  FactKind,
  Intake,
  Job,
  MakeSafeProof,
  MakeSafeStep,
  Meter,
  Mode,
  Observation,
  Opinion,
  Photo,
  Problem,
  Reading,
  ReferenceBoard,
  Socket,
  Stage,
  Tray,
} from "../generated/models";
import type { BoardFileDoors } from "./board_files";
import type { BoardDoors } from "./boards";
import type { DecideDoors } from "./decide";
import type { HabitDoors } from "./habits";
import type { HandBackDoors } from "./hand_back";
import type { Picture } from "../photo/make";
import type { HealthyDoors } from "./healthy";
import type { FileDoors } from "./take_file_in";
import type { BenchDoors } from "./bench_answers";
import type { ClosingDoors } from "./closings";
import type { LearningDoors } from "./learning";
import type { MeterDoors } from "./meter_doors";
import type { PairingDoors } from "./pairing";
import type { RailDoors } from "./rail_doors";

/**
 * A value that changes; a Svelte store (`$live` works). The value is `undefined` until the first
 * answer of the database is there, which is not the same as "none" (`null` or an empty list).
 */
export interface Live<T> {
  subscribe(run: (value: T | undefined) => void): () => void;
}

/** A value that is always there; a Svelte store too. */
export interface State<T> {
  subscribe(run: (value: T) => void): () => void;
}

/** A record with every field that has a default filled in, so that a screen need not know defaults. */
export type WholeIntake = Required<Intake>;
export type WholeJob = Required<Omit<Job, "intake">> & { readonly intake: WholeIntake };
export type WholeMeter = Required<Meter>;

// --- what can be read ---------------------------------------------------------------------------

/** A job as a tray shows it. */
export interface JobCard {
  id: string;
  title: string;
  tray: Tray;
  opened_at_ms: number;
  data_matters: WholeIntake["data_matters"];
  device: string;
  board: string;
  socket: string | null;
  /** Different contacts with at least one row that is not taken back, of all contacts of the socket. */
  contacts_read: number;
  contacts_all: number;
  gate_open: boolean;
  /** When the newest row of the job was made; what a tray is sorted by. */
  touched_at_ms: number;
  /** Edits of this job that the server has not answered yet. */
  waiting: number;
  /** Reading a healthy board: a job without an owner. */
  healthy: boolean;
}

/** One tray, in the order of the generated table; jobs newest first. */
export interface TrayView {
  id: Tray;
  words: string;
  jobs: JobCard[];
}

/**
 * One typed reading. `replaced_by` is the id of a row that names this one in `supersedes`: a plain
 * fact of the rows. Whether a reading counts is the engine's to say (`Opinion.set_aside`).
 */
export interface ReadingRow {
  reading: Reading;
  /** The contact of a touch on one contact, else null. */
  contact: string | null;
  replaced_by: string | null;
  /** The server has not answered for it yet. */
  waiting: boolean;
}

/** The make-safe gate: whether readings may be taken, and the steps that still hold it shut. */
export interface GateState {
  open: boolean;
  waits_for: string[];
  /** The steps that apply to this socket, each with its newest proof (null: nothing said yet). */
  steps: GateStep[];
}

export interface GateStep {
  step: MakeSafeStep;
  proof: MakeSafeProof | null;
  passed: boolean;
}

/** `waiting`: on this phone only, on its way. `elsewhere`: not here yet; `Door.picture` asks the shop for it. */
export type PhotoPlace = "waiting" | "known" | "refused" | "elsewhere";

/** One job with everything a screen needs of it. Records that were taken back are not in it. */
export interface JobView {
  job: WholeJob;
  board: BoardVersion | null;
  socket: Socket | null;
  corrections: ContactCorrection[];
  meter: WholeMeter | null;
  meters: WholeMeter[];
  reference_boards: ReferenceBoard[];
  /** All rows, oldest typed first. */
  rows: ReadingRow[];
  /** The rows of the stage in hand: what is read goes on from these. */
  stage_rows: ReadingRow[];
  /** The newest typed row of each contact (by `taken_at_ms`, then id) at the stage in hand, whatever the lead. For echo and count, no verdict. */
  newest_row: Record<string, ReadingRow>;
  proofs: MakeSafeProof[];
  gate: GateState;
  observations: Observation[];
  photos: Photo[];
  /** Where the picture of each photo is, by its sha256. */
  photo_places: Record<string, PhotoPlace>;
  /** Rows made by a newer app that this one cannot read; they are kept and come after the update. */
  newer_rows: number;
}

/** The last opinion of a job, whole or from before some readings. */
export interface StoredOpinion {
  opinion: Opinion;
  formed_at_ms: number;
  /** Rows of the job added, replaced or taken back since this opinion was asked for; 0 = up to date. */
  before_last_n_readings: number;
  /** True while an answer to a newer question is on its way. */
  being_renewed: boolean;
  /** Why the last attempt gave no opinion (for instance no board chosen), else null. */
  last_failure: string | null;
}

// --- states -------------------------------------------------------------------------------------

export interface RefusedChange {
  change_id: string;
  problem: Problem;
  /** The record it was about, and its job where it has one; `newer`: made by a newer app, not read here. */
  kind: FactKind | EntityKind | "newer";
  record_id: string;
  job_id: string | null;
  refused_at_ms: number;
}

/** A picture the server will not take: kept here, shown, never in the way of the others. */
export interface RefusedPhoto {
  sha256: string;
  job_id: string | null;
  problem: Problem;
}

/** A zip of what no server has taken; `missing`: pictures this phone no longer has, named in the edits only. */
export interface HandedOver {
  file: Blob;
  missing: number;
}

export interface NewerChange {
  change_id: string;
  device: string;
  v: number;
}

/** What is between this phone and the shop's server. */
export interface SyncState {
  /** Edits not yet answered by the server (refused ones not counted). */
  waiting: number;
  /** When the oldest edit that waits was made, by the shop's time as far as it was known; null: none waits. */
  waiting_since_ms: number | null;
  /** When a round last ended with every edit and picture of this phone at the shop; null: never yet. */
  all_sent_at_ms: number | null;
  /** Pictures that are not with the server yet. */
  photos_waiting: number;
  photos_refused: RefusedPhoto[];
  running: boolean;
  /** When the server last answered anything with success; null: never. */
  last_answer_at_ms: number | null;
  /** Since when every attempt has failed to reach a server; null: reachable, or not tried yet. */
  unreachable_since_ms: number | null;
  /** A server that answers but not with success: its words. Null when all is well. */
  trouble: Problem | null;
  /** Refused edits: kept, shown, never in the way of the others. */
  refused: RefusedChange[];
  /** Edits made by a newer app: kept, applied after the update. */
  newer: NewerChange[];
  /** This phone's clock minus the server's, in ms, when they differ by more than 5 minutes; else null. */
  clock_off_ms: number | null;
  /** False until the shop's boards and jobs have been pulled once. */
  first_pull_done: boolean;
  /** The address the shop hands out now, where this app's own no longer leads there; work goes there all the same. */
  moved_to: string | null;
}

/** Where the engine stands. `ready` means: opinions work offline now. */
export type EngineState =
  | { is: "absent" }
  | { is: "loading"; bytes: number; of_bytes: number }
  | { is: "starting" }
  | { is: "ready"; version: string }
  | { is: "failed"; why: string; retry_at_ms: number | null };

/** Whether what is typed can be kept. `persistent` null: this browser does not say. */
export type StorageState =
  | { is: "ok"; persistent: boolean | null }
  | { is: "failed"; code: StoreErrorCode; why: string; since_ms: number };

/** A newer app is there and waits. Offered only while no draft is open. */
export type UpdateState = { is: "none" } | { is: "ready"; held_by_drafts: number };

export type StoreErrorCode =
  | "storage_full"
  | "storage_lost"
  | "not_found"
  | "not_complete"
  | "not_safe"
  | "wrong_value"
  | "meter_not_for_sockets"
  | "unknown";

/** Why a write was not saved. `message` is a sentence for the screen. */
export class StoreError extends Error {
  override name = "StoreError";
  constructor(
    readonly code: StoreErrorCode,
    message: string,
    options?: ErrorOptions,
  ) {
    super(message, options);
  }
}

// --- what can be written ------------------------------------------------------------------------

/** Fields of a new or edited job. */
export type JobFields = Partial<Omit<Job, "id" | "v">>;
export type ReferenceBoardFields = Partial<Omit<ReferenceBoard, "id" | "v">>;
export type MeterFields = Partial<Omit<Meter, "id" | "v">>;

/** One step of making safe. `measured_mv` with `at_place`, or `done`, or `waived_because`. */
export type NewProof = Pick<MakeSafeProof, "step"> &
  Partial<Pick<MakeSafeProof, "done" | "measured_mv" | "at_place" | "waived_because">>;

/**
 * A reading as typed. `socket`, `meter_id` and `air_c` come from the job when they are left out; a job
 * without a socket or a meter then rejects with `not_complete`. The value is never made here.
 */
export type NewReading = Pick<Reading, "kind" | "touch" | "as_typed" | "display_unit"> &
  Partial<
    Pick<
      Reading,
      | "socket"
      | "meter_id"
      | "air_c"
      | "lead_on_ground"
      | "subject"
      | "place"
      | "steadiness"
      | "taken_after_s"
      | "conditions"
      | "stage"
      | "numbered_as_drawn"
      | "note"
    >
  >;

export type NewObservation = Pick<Observation, "seen"> &
  Partial<Omit<Observation, "id" | "of" | "seen" | "seen_at_ms" | "seen_by" | "v">>;

/** How an attempt at an opinion ended. `overtaken`: a newer question took its place. */
export type AskResult =
  | { is: "formed"; opinion: Opinion }
  | { is: "overtaken" }
  | { is: "failed"; why: string };

export interface Door extends BoardDoors, BoardFileDoors, BenchDoors, ClosingDoors, LearningDoors, HealthyDoors, HabitDoors, HandBackDoors, MeterDoors, FileDoors, DecideDoors, PairingDoors, RailDoors {
  // queries
  trays(): Live<TrayView[]>;
  /** `null`: there is no such job, or it was taken back. */
  job(jobId: string): Live<JobView | null>;
  /** `null`: none has been formed for this job yet. */
  opinion(jobId: string): Live<StoredOpinion | null>;
  boards(): Live<BoardVersion[]>;
  meters(): Live<WholeMeter[]>;
  /** The name written into records as the one who did it. */
  actor(): Live<string>;
  /** The picture of a photo; one from another phone is fetched and then kept. `null`: not to be had now. */
  picture(sha256: string, size: "thumb" | "whole"): Promise<Blob | null>;

  // states
  readonly sync: State<SyncState>;
  readonly engine: State<EngineState>;
  readonly storage: State<StorageState>;
  readonly update: State<UpdateState>;

  // writes; each gives the id of the record it made or edited. `draftKey` names the draft that the
  // write completes: it is dropped in the same transaction, so a killed page cannot enter it twice.
  takeDeviceIn(fields: JobFields, draftKey?: string): Promise<string>;
  /** A healthy board and the job of reading it, in one: the job's readings belong to the board. Gives the job's id. */
  takeHealthyBoardIn(fields: JobFields, draftKey?: string): Promise<string>;
  /** Reading another socket of a healthy board that is read already: a job of the same board, measured the same way. */
  readAnotherSocket(jobId: string, socket: string): Promise<string>;
  setReferenceBoard(boardId: string, fields: ReferenceBoardFields): Promise<void>;
  setJobFields(jobId: string, fields: JobFields, draftKey?: string): Promise<void>;
  addProof(jobId: string, proof: NewProof, draftKey?: string): Promise<string>;
  /** Rejects with `not_safe` and the steps that wait while the make-safe gate is shut. */
  addReading(jobId: string, reading: NewReading, draftKey?: string): Promise<string>;
  /** A new reading like the old one but for `fields`; it names the old one in `supersedes`. */
  replaceReading(readingId: string, fields: Partial<NewReading>, draftKey?: string): Promise<string>;
  takeBack(kind: FactKind | EntityKind, id: string, why: string): Promise<void>;
  addObservation(jobId: string, observation: NewObservation, draftKey?: string): Promise<string>;
  /** A picture and its record, and what was seen in it, in one transaction; gives the photo's id. */
  addPhoto(jobId: string, picture: Picture, how?: { observation?: NewObservation; draftKey?: string }): Promise<string>;
  /** `null` makes a new meter (a name is then needed). */
  setMeter(meterId: string | null, fields: MeterFields): Promise<string>;
  setActor(name: string): Promise<void>;

  // drafts: what is typed but not yet a record, kept so that a killed page resumes
  saveDraft(key: string, value: unknown): Promise<void>;
  readDraft<T>(key: string): Promise<T | null>;
  dropDraft(key: string): Promise<void>;

  // doing
  /** Forms an opinion when the engine can; the answer is also in `opinion(jobId)`. Never blocks a write. */
  askOpinion(jobId: string, how?: { mode?: Mode; stage?: Stage }): Promise<AskResult>;
  /** Fetches the engine's files if need be and starts it; call after the first paint. Also retries a failed start. */
  startEngine(): void;
  /** Talks to the server now, once. */
  syncNow(): Promise<void>;
  /** What the server has not taken, edits and pictures, as a file of last resort. */
  handOver(): Promise<HandedOver>;
  /** Reloads into the newer app; does nothing while a draft is open. */
  takeUpdate(): Promise<void>;
}
