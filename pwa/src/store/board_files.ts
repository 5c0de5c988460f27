/**
 * A board file goes to the shop's computer, which reads it; what comes back is a proposal, and nothing is kept
 * here or there before a person has gone through it.
 */
import type { BoardInFile, Problem, TracedSocket } from "../generated/models";
import tables from "../generated/tables.json";
import * as server from "../sync/server";

const LOOK_AGAIN_MS = 250;

/** How far it is: sent, then read; both as a share from 0 to 1. */
export interface FileProgress {
  doing: "sending" | "reading";
  share: number;
}

export interface SentBoard {
  id: string;
  board: BoardInFile;
}

/** The file was refused, or the shop cannot be reached; `problem` says more where there is one. */
export class BoardFileError extends Error {
  override name = "BoardFileError";
  constructor(
    message: string,
    readonly problem: Problem | null = null,
  ) {
    super(message);
  }
}

export interface BoardFileDoors {
  /** Sends a file and waits until it is read. `columns` are for a list of pins. Rejects with `BoardFileError`. */
  readBoardFile(file: Blob, columns: string, told: (progress: FileProgress) => void): Promise<SentBoard>;
  /** One socket of a file that was read, traced. Rejects with `BoardFileError`. */
  traceSocket(id: string, ref: string): Promise<TracedSocket>;
}

export const boardFileDoors: BoardFileDoors = {
  async readBoardFile(file, columns, told) {
    if (file.size > tables.board_file_max_bytes) throw tooLarge(file.size);
    let reading = await answered(server.sendBoardFile(file, columns, (share) => told({ doing: "sending", share })));
    while (reading.state === "reading") {
      told({ doing: "reading", share: reading.of_bytes > 0 ? reading.read_bytes / reading.of_bytes : 0 });
      await new Promise((done) => setTimeout(done, LOOK_AGAIN_MS));
      reading = await answered(server.boardFile(reading.id));
    }
    if (reading.board == null) throw refusedBy(reading.problem ?? null);
    return { id: reading.id, board: reading.board };
  },

  traceSocket: (id, ref) => answered(server.boardFileSocket(id, ref)),
};

async function answered<T>(question: Promise<T>): Promise<T> {
  try {
    return await question;
  } catch (error) {
    if (error instanceof server.Trouble) throw refusedBy(error.problem);
    throw new BoardFileError("The shop's computer reads board files, and it cannot be reached now. Nothing was kept.");
  }
}

/** Said before a byte is sent: the shop would break off in the middle, which looks like no network. */
function tooLarge(bytes: number): BoardFileError {
  const most = megabytes(tables.board_file_max_bytes);
  const message = `The file has ${megabytes(bytes)}; no board has more than ${most}. It was not sent.`;
  const problem = { code: "too_large", message, where: "the whole file", given: megabytes(bytes), expected: `at most ${most}`, example: "the board file alone, 1 to 10 MB" };
  return new BoardFileError(message, problem);
}

function megabytes(bytes: number): string {
  return `${Math.ceil(bytes / 1e6)} MB`;
}

function refusedBy(problem: Problem | null): BoardFileError {
  return new BoardFileError(problem?.message ?? "The file could not be read.", problem);
}
