/**
 * Boards that are typed in: one immutable version, and what somebody learns later as small corrections
 * over it. A pasted table is read by the engine on this phone; where that has not come yet, by the same one
 * at the shop.
 */
import { uuidv7 } from "uuidv7";

import type { EngineBridge } from "../engine_worker/bridge";
import type { BoardVersion, ContactCorrection, PinColumns, PinColumnsQuestion, PinTable, PinTableQuestion, ProblemAnswer } from "../generated/models";
import * as server from "../sync/server";
import type { PhoneDb } from "./db";
import type { Writer } from "./write";

const READ_MS = 30_000;
const ENGINES_ERROR = /^[\w.]*(Error|Exception): /;

export type NewBoard = Omit<BoardVersion, "id" | "made_at_ms" | "made_by" | "v">;
export type NewCorrection = Omit<ContactCorrection, "id" | "made_at_ms" | "made_by" | "v">;

/**
 * How a pasted table was taken. `refused`: what was said of it cannot be, as a sentence. `overtaken`: a newer
 * question took its place. `no_engine`: neither this phone's engine nor the shop's can read it now.
 */
export type PinAnswer<T> = { is: "read"; answer: T } | { is: "refused"; why: string } | { is: "overtaken" } | { is: "no_engine"; why: string };

export interface BoardDoors {
  addBoard(board: NewBoard, draftKey?: string): Promise<string>;
  correctContact(correction: NewCorrection): Promise<string>;
  /** What a pasted table probably is: a proposal to look at. */
  proposePinColumns(question: PinColumnsQuestion): Promise<PinAnswer<PinColumns>>;
  readPinTable(question: PinTableQuestion): Promise<PinAnswer<PinTable>>;
}

export function boardDoors(db: PhoneDb, writer: Writer, bridge: EngineBridge): BoardDoors {
  const made = async (): Promise<{ id: string; made_at_ms: number; made_by: string }> => ({
    id: uuidv7(),
    made_at_ms: Date.now(),
    made_by: (await db.metaOf("actor")) ?? "",
  });

  return {
    async addBoard(board, draftKey) {
      const record = { ...board, ...(await made()) };
      await writer.commit([{ what: "added", kind: "board_version", record }], draftKey);
      return record.id;
    },

    async correctContact(correction) {
      const record = { ...correction, ...(await made()) };
      await writer.commit([{ what: "added", kind: "correction", record }]);
      return record.id;
    },

    proposePinColumns: (question) => ask<PinColumns>(bridge, "pin_columns", question),
    readPinTable: (question) => ask<PinTable>(bridge, "pin_table", question),
  };
}

async function ask<T>(bridge: EngineBridge, about: "pin_columns" | "pin_table", question: object): Promise<PinAnswer<T>> {
  const text = JSON.stringify(question);
  const answer = await bridge.ask(new TextEncoder().encode(text), about);
  if (answer.is === "formed") return { is: "read", answer: JSON.parse(new TextDecoder().decode(answer.opinion)) as T };
  if (answer.is === "overtaken") return answer;
  // the engine's own errors begin with their Python class, which says nothing at a bench
  if (ENGINES_ERROR.test(answer.why)) return { is: "refused", why: answer.why.replace(ENGINES_ERROR, "") };
  return askShop<T>(about, text, answer.why);
}

async function askShop<T>(about: "pin_columns" | "pin_table", body: string, why: string): Promise<PinAnswer<T>> {
  try {
    const response = await server.askShop(`/api/${about.replace("_", "-")}`, body, READ_MS);
    const answer = (await response.json()) as unknown;
    if (response.ok) return { is: "read", answer: answer as T };
    const { where, message, given, expected, example } = (answer as ProblemAnswer).problem;
    return { is: "refused", why: `${where}: ${message} (given ${given}; expected ${expected}; example: ${example})` };
  } catch {
    // no network, no shop, or something else that answers at its address
    return { is: "no_engine", why };
  }
}
