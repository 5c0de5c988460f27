/**
 * Sends the outbox in the device's own order and notes each answer. Decides: nothing leaves the outbox
 * before an answer names it; a refused edit is kept and shown and never holds up the others.
 */
import type { BatchAnswer, ChangeAnswer, Problem } from "../generated/models";
import type { OwnChangeRow, PhoneDb } from "../store/db";
import { noteEpoch } from "./epoch";
import * as server from "./server";

const BATCH = 200;
const BATCH_CHARS = 500_000;

/** Sends until nothing waits. Throws `Unreachable` or `Trouble`; what was answered by then stays noted. */
export async function pushAll(db: PhoneDb, onAnswer: (server_ms: number) => Promise<void>): Promise<void> {
  for (let rows = await nextBatch(db); rows.length > 0; rows = await nextBatch(db)) {
    const left = await pushBatch(db, rows, onAnswer);
    // an answer that names none of what was sent would loop for ever
    if (left === rows.length) throw new server.Trouble(200, namesNone(rows.length));
  }
}

/** How many of the rows are still without an answer. */
async function pushBatch(
  db: PhoneDb,
  rows: readonly OwnChangeRow[],
  onAnswer: (server_ms: number) => Promise<void>,
): Promise<number> {
  try {
    const answer = await server.push(rows.map((row) => row.change));
    await onAnswer(answer.server_ms);
    return await noteAnswers(db, rows, answer);
  } catch (error) {
    if (!(error instanceof server.Trouble) || !error.isAboutContent) throw error;
    return await findCulprit(db, rows, error.problem, onAnswer);
  }
}

/** A batch refused as a whole: halves, down to the one edit that is at fault, so that the others go. */
async function findCulprit(
  db: PhoneDb,
  rows: readonly OwnChangeRow[],
  problem: Problem,
  onAnswer: (server_ms: number) => Promise<void>,
): Promise<number> {
  const [only] = rows;
  if (rows.length === 1 && only !== undefined) {
    await db.changes.update(only.device_seq, refused(problem));
    return 0;
  }
  const half = Math.ceil(rows.length / 2);
  const first = await pushBatch(db, rows.slice(0, half), onAnswer);
  return first + (await pushBatch(db, rows.slice(half), onAnswer));
}

async function nextBatch(db: PhoneDb): Promise<OwnChangeRow[]> {
  const rows = await db.changes.where("status").equals("waiting").sortBy("device_seq");
  const batch: OwnChangeRow[] = [];
  let chars = 0;
  for (const row of rows.slice(0, BATCH)) {
    chars += JSON.stringify(row.change).length;
    if (batch.length > 0 && chars > BATCH_CHARS) break;
    batch.push(row);
  }
  return batch;
}

async function noteAnswers(db: PhoneDb, rows: readonly OwnChangeRow[], { answers, epoch }: BatchAnswer): Promise<number> {
  const byId = new Map(answers.map((answer) => [answer.id, answer]));
  let left = 0;
  await db.transaction("rw", [db.changes, db.photo_sends, db.meta], async () => {
    for (const row of rows) {
      const answer = byId.get(row.id);
      if (answer === undefined) left += 1;
      else await db.changes.update(row.device_seq, noted(answer));
    }
    await noteEpoch(db, epoch);
  });
  return left;
}

function noted(answer: ChangeAnswer): Partial<OwnChangeRow> {
  if (answer.result === "refused") return refused(answer.problem ?? { code: "refused", message: "The server gave no reason." });
  return { status: "known", problem: null, answered_at_ms: Date.now() };
}

function refused(problem: Problem): Partial<OwnChangeRow> {
  return { status: "refused", problem, answered_at_ms: Date.now() };
}

function namesNone(sent: number): Problem {
  return {
    code: "answer_names_none",
    message: "The server answered, but named none of the edits that were sent; they stay here.",
    given: `${sent} edits`,
    expected: "an answer for each",
  };
}
