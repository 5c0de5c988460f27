/**
 * Healthy boards of a socket: what was typed on each, the bands they make, and the file they travel in.
 * A query, no logic: which board is the odd one out, and whether a file is one, is the engine's to say.
 */
import type { EngineBridge } from "../engine_worker/bridge";
import type {
  Body,
  BoardVersion,
  ContactCorrection,
  FactKind,
  HealthyBands,
  Reading,
  ReferenceBoard,
  ReferenceFile,
  Socket,
} from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { BODY_V, onLiveConnection, type PhoneDb } from "./db";
import { type Live, StoreError, type WholeMeter } from "./door";
import { engineProblem } from "./engine_words";
import { live } from "./live";
import { readMeters, socketOf } from "./read_job";
import { factsOf, visibleFact, visibleFactsOf } from "./rows";
import { allMeters, knownGood, referenceBoards, seenOf } from "./sheet";
import type { StorageWatch } from "./storage_state";
import type { Writer } from "./write";

export interface HealthyView {
  board: BoardVersion;
  socket: Socket;
  reference_boards: ReferenceBoard[];
  meters: WholeMeter[];
  /** Names every row the bands rest on, so that a page sees when they have changed. */
  seen: string[];
  /** How many rows of each healthy board were made at this socket. */
  readings_here: Record<string, number>;
}

/** What came of a file: how much of it was new here, and how much was here already by its id. */
export interface TakenIn {
  boards_new: number;
  readings_new: number;
  known: number;
}

export interface HealthyDoors {
  /** `null`: there is no such board or socket here. */
  healthyBoards(boardId: string, socket: string): Live<HealthyView | null>;
  /** The bands these healthy boards make for one meter; nothing of it is kept. */
  askBands(boardId: string, socket: string, meterId: string | null): Promise<BenchAnswer<HealthyBands>>;
  /** All healthy boards of a board version as one file. */
  exportHealthyBoards(boardId: string): Promise<Blob>;
  /** Takes a file in, whole or not at all. Rejects with the sentence that says what is wrong with it. */
  takeHealthyBoardsIn(file: Blob): Promise<TakenIn>;
}

export function healthyDoors(db: PhoneDb, storage: StorageWatch, bridge: EngineBridge, writer: Writer): HealthyDoors {
  return {
    healthyBoards: (boardId, socket) => live(db, storage, () => readHealthy(db, boardId, socket)),
    askBands: (boardId, socket, meterId) => askBands(db, bridge, boardId, socket, meterId),
    exportHealthyBoards: (boardId) => onLiveConnection(db, () => exportFile(db, boardId)),
    takeHealthyBoardsIn: (file) => takeIn(db, bridge, writer, file),
  };
}

async function readHealthy(db: PhoneDb, boardId: string, ref: string): Promise<HealthyView | null> {
  const board = await visibleFact<BoardVersion>(db, "board_version", boardId);
  const socket = socketOf(board, ref);
  if (board === null || socket === null) return null;
  const { boards, readings } = await knownGood(db, boardId);
  const readings_here: Record<string, number> = {};
  for (const { gone, record, reference_board_id } of readings) {
    if (gone === 1 || record["socket"] !== ref || reference_board_id === undefined) continue;
    readings_here[reference_board_id] = (readings_here[reference_board_id] ?? 0) + 1;
  }
  return { board, socket, reference_boards: boards, meters: await readMeters(db), seen: seenOf(readings), readings_here };
}

async function askBands(
  db: PhoneDb,
  bridge: EngineBridge,
  boardId: string,
  socket: string,
  meter_id: string | null,
): Promise<BenchAnswer<HealthyBands>> {
  const board = await visibleFact<BoardVersion>(db, "board_version", boardId);
  if (board === null) return { is: "failed", why: "There is no such board on this phone." };
  const corrections = await factsOf(db, "correction", "board_version_id", boardId);
  const known = await knownGood(db, boardId);
  const rows = [...corrections, ...known.readings];
  const sheet = {
    sheet_id: "healthy-boards",
    asked_at_ms: Date.now(),
    board,
    socket,
    meters: await allMeters(db),
    reference_boards: known.boards,
    known_good_readings: known.readings.map((row) => row.record),
    corrections: corrections.map((row) => row.record as unknown as ContactCorrection),
    removed_ids: rows.filter((row) => row.gone === 1).map((row) => row.id),
    meter_id,
    mode: "sweep",
  };
  return askEngine<HealthyBands>(bridge, "healthy_bands", sheet);
}

async function exportFile(db: PhoneDb, boardId: string): Promise<Blob> {
  const board = await visibleFact<BoardVersion>(db, "board_version", boardId);
  if (board === null) throw new StoreError("not_found", "There is no such board on this phone.");
  const reference_boards = (await referenceBoards(db)).filter((one) => one.board_version_id === boardId);
  const lists = await Promise.all(
    reference_boards.map(({ id }) => visibleFactsOf<Reading>(db, "reading", "reference_board_id", id)),
  );
  const readings = lists.flat();
  const used = new Set(readings.map((reading) => reading.meter_id));
  const meters = (await allMeters(db)).filter((meter) => used.has(meter.id));
  const file = { holds: "healthy_boards", v: BODY_V, made_at_ms: Date.now(), board, reference_boards, readings, meters };
  return new Blob([JSON.stringify(file, null, 1)], { type: "application/json" });
}

/** The engine reads the file strictly and as a whole, so no network is needed; what is wrong comes back as a sentence. */
async function checked(bridge: EngineBridge, blob: Blob): Promise<ReferenceFile> {
  const answer = await bridge.ask(new Uint8Array(await blob.arrayBuffer()), "reference_file");
  if (answer.is === "overtaken") throw new StoreError("unknown", "Another file came meanwhile. Nothing of this one was taken in.");
  if (answer.is === "failed") {
    const { where, sentence } = engineProblem(answer.why);
    const at = where === null || where === "$" ? "" : ` (${where.replace(/^\$\./, "")})`;
    throw new StoreError("unknown", `This is no file of healthy boards that can be read: ${sentence}${at} Nothing was taken in.`);
  }
  return JSON.parse(new TextDecoder().decode(answer.opinion)) as ReferenceFile;
}

async function takeIn(db: PhoneDb, bridge: EngineBridge, writer: Writer, blob: Blob): Promise<TakenIn> {
  const file = await checked(bridge, blob);
  const facts: [FactKind, { id: string }][] = [
    ["board_version", file.board],
    ...file.readings.map((one): [FactKind, { id: string }] => ["reading", one]),
  ];
  const bodies: Body[] = [];
  let known = 0;
  for (const [kind, record] of facts) {
    if ((await db.facts.get([kind, record.id])) !== undefined) known += 1;
    else bodies.push({ what: "added", kind, record });
  }
  const readings_new = bodies.filter((body) => body.what === "added" && body.kind === "reading").length;
  let boards_new = 0;
  for (const { id, v: _, ...fields } of file.meters ?? []) {
    if ((await db.fields.get(["meter", id])) === undefined) bodies.push({ what: "fields_set", kind: "meter", id, fields });
    else known += 1;
  }
  for (const { id, v: _, ...fields } of file.reference_boards) {
    if ((await db.fields.get(["reference_board", id])) !== undefined) known += 1;
    else {
      bodies.push({ what: "fields_set", kind: "reference_board", id, fields });
      boards_new += 1;
    }
  }
  if (bodies.length > 0) await writer.commit(bodies);
  return { boards_new, readings_new, known };
}
