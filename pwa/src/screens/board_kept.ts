/** A board that is made here, by hand or from a file: what it is called, and how it is kept and goes on to taking in. */
import type { NewBoard } from "../store/boards";
import type { Door } from "../store/door";
import { INTAKE_DRAFT, type IntakeDraft, emptyDraft } from "./intake_draft";

export interface BoardNamed {
  device: string;
  board: string;
  revision: string;
}

/** The name's fields as they are kept, or what they lack. */
export function namesOf(draft: BoardNamed): BoardNamed | { lacks: string } {
  const [device, board, revision] = [draft.device.trim(), draft.board.trim(), draft.revision.trim()];
  if (device === "") return { lacks: "The device is missing, for example T10." };
  if (board === "") return { lacks: "The board is missing, for example TB-1, as printed on it." };
  return { device, board, revision };
}

/** Keeps a new board, lets go of its draft, and puts it into the device that is being taken in. */
export async function keepBoard(door: Door, made: NewBoard, draft: string): Promise<void> {
  const board = await door.addBoard(made, draft);
  const intake = (await door.readDraft<IntakeDraft>(INTAKE_DRAFT)) ?? emptyDraft();
  const only = made.sockets.length === 1 ? (made.sockets[0]?.ref ?? null) : null;
  await door.saveDraft(INTAKE_DRAFT, { ...intake, board, socket: only });
}
