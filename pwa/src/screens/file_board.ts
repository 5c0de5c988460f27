/** A board out of a file while a person goes through it: the draft, and what is still missing of it. */
import type { BoardVersion, Contact, Socket, TracedSocket } from "../generated/models";
import type { NewBoard } from "../store/boards";

export const FILE_DRAFT = "board-from-file";

export interface FileBoard {
  device: string;
  board: string;
  revision: string;
  traced: TracedSocket | null;
}

export function emptyFileBoard(): FileBoard {
  return { device: "", board: "", revision: "", traced: null };
}

export function socketOf(draft: FileBoard): Socket | null {
  return draft.traced?.board.sockets[0] ?? null;
}

/** The draft with fields of one contact changed by a person: these are no proposals any more. */
export function withContact(traced: TracedSocket, number: string, fields: Partial<Contact>): TracedSocket {
  const changed = Object.keys(fields);
  const change = (one: Contact): Contact => ({
    ...one,
    ...fields,
    ...("role" in fields ? { role_origin: "typed" as const, role_why: "" } : {}),
    proposed: (one.proposed ?? []).filter((name) => !changed.includes(name)),
  });
  const sockets = traced.board.sockets.map((socket) => ({ ...socket, contacts: socket.contacts.map((one) => (one.number === number ? change(one) : one)) }));
  const net = sockets[0]?.contacts.find((one) => one.number === number)?.net;
  // a rail's own volts are those a person says of its contact
  const volts = "working_mv" in fields ? { working_mv: fields.working_mv ?? null } : {};
  const nets = (traced.board.nets ?? []).map((one) => (one.name === net && one.rail_kind != null ? { ...one, ...volts } : one));
  return { ...traced, board: { ...traced.board, sockets, nets } };
}

/** The board as it is kept, or what it still lacks. */
export function boardFrom(draft: FileBoard): { board: NewBoard } | { lacks: string } {
  if (draft.traced === null) return { lacks: "Choose a file and a socket first." };
  if (draft.device.trim() === "") return { lacks: 'The device is missing, for example "T10".' };
  if (draft.board.trim() === "") return { lacks: "The board's name is missing: it is printed on it." };
  const { id: _, v: __, made_at_ms: ___, made_by: ____, ...whole }: BoardVersion = draft.traced.board;
  return { board: { ...whole, device: draft.device.trim(), board: draft.board.trim(), revision: draft.revision.trim() } };
}
