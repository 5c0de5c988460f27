/**
 * Boards that are typed in: one immutable version, and what somebody learns later as small corrections
 * over it. A pasted table is read at the shop, by the same engine; nothing of it is kept here.
 */
import { uuidv7 } from "uuidv7";

import type { BoardVersion, ContactCorrection, PinTable, PinTableQuestion, Problem, ProblemAnswer } from "../generated/models";
import type { PhoneDb } from "./db";
import type { Writer } from "./write";

const READ_MS = 30_000;

export type NewBoard = Omit<BoardVersion, "id" | "made_at_ms" | "made_by" | "v">;
export type NewCorrection = Omit<ContactCorrection, "id" | "made_at_ms" | "made_by" | "v">;

/** How a pasted table was taken. `no_shop`: it has to be read there, and the shop does not answer. */
export type PinTableAnswer = { is: "read"; table: PinTable } | { is: "refused"; problem: Problem } | { is: "no_shop" };

export interface BoardDoors {
  addBoard(board: NewBoard, draftKey?: string): Promise<string>;
  correctContact(correction: NewCorrection): Promise<string>;
  readPinTable(question: PinTableQuestion): Promise<PinTableAnswer>;
}

export function boardDoors(db: PhoneDb, writer: Writer): BoardDoors {
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

    readPinTable,
  };
}

async function readPinTable(question: PinTableQuestion): Promise<PinTableAnswer> {
  try {
    const response = await fetch("/api/pin-table", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(question),
      cache: "no-store",
      signal: AbortSignal.timeout(READ_MS),
    });
    const answer = (await response.json()) as unknown;
    if (response.ok) return { is: "read", table: answer as PinTable };
    return { is: "refused", problem: (answer as ProblemAnswer).problem };
  } catch {
    // no network, no shop, or something else that answers at its address
    return { is: "no_shop" };
  }
}
