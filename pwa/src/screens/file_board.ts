/** A board out of a file while a person goes through it: the sockets taken so far, and what is still missing of it. */
import type { BoardDrawing, BoardVersion, Contact, Net, Socket, TracedSocket } from "../generated/models";
import type { NewBoard } from "../store/boards";
import { type BoardNamed, namesOf } from "./board_kept";

export const FILE_DRAFT = "board-from-file";

export interface FileBoard extends BoardNamed {
  /** The file the sockets are of; those of another file are another board. */
  file: string;
  sockets: readonly TracedSocket[];
  /** The name of the socket that is shown. */
  at: string;
}

export function emptyFileBoard(): FileBoard {
  return { device: "", board: "", revision: "", file: "", sockets: [], at: "" };
}

/** The draft as it was left; `traced` is how one socket was kept before there could be several. */
export function resumedFile(before: Partial<FileBoard> & { traced?: TracedSocket | null }): FileBoard {
  const { traced, ...rest } = before;
  const sockets = rest.sockets ?? (traced == null ? [] : [traced]);
  return { ...emptyFileBoard(), ...rest, sockets, at: rest.at ?? refOf(sockets[0]) };
}

export function refOf(traced: TracedSocket | undefined): string {
  return traced?.board.sockets[0]?.ref ?? "";
}

export function shownOf(draft: FileBoard): TracedSocket | null {
  return draft.sockets.find((one) => refOf(one) === draft.at) ?? draft.sockets[0] ?? null;
}

/** The draft with one more socket of a file; a socket of another file begins anew. */
export function withSocket(draft: FileBoard, file: string, traced: TracedSocket): FileBoard {
  const others = file === draft.file ? draft.sockets.filter((one) => refOf(one) !== refOf(traced)) : [];
  return { ...draft, file, sockets: [...others, traced], at: refOf(traced) };
}

export function withoutSocket(draft: FileBoard, ref: string): FileBoard {
  const sockets = draft.sockets.filter((one) => refOf(one) !== ref);
  return { ...draft, sockets, at: refOf(sockets[0]) };
}

/** The draft with fields of one contact of the socket that is shown changed by a person: no proposals any more. */
export function withContact(draft: FileBoard, number: string, fields: Partial<Contact>): FileBoard {
  const shown = shownOf(draft);
  return { ...draft, sockets: draft.sockets.map((one) => (one === shown ? changed(one, number, fields) : one)) };
}

function changed(traced: TracedSocket, number: string, fields: Partial<Contact>): TracedSocket {
  const names = Object.keys(fields);
  const change = (one: Contact): Contact => ({
    ...one,
    ...fields,
    ...("role" in fields ? { role_origin: "typed" as const, role_why: "" } : {}),
    proposed: (one.proposed ?? []).filter((name) => !names.includes(name)),
  });
  const sockets = traced.board.sockets.map((socket) => ({ ...socket, contacts: socket.contacts.map((one) => (one.number === number ? change(one) : one)) }));
  const net = sockets[0]?.contacts.find((one) => one.number === number)?.net;
  // a rail's own volts are those a person says of its contact
  const volts = "working_mv" in fields ? { working_mv: fields.working_mv ?? null } : {};
  const nets = (traced.board.nets ?? []).map((one) => (one.name === net && one.rail_kind != null ? { ...one, ...volts } : one));
  return { ...traced, board: { ...traced.board, sockets, nets } };
}

/** The board as it is kept, all its sockets in one, or what it still lacks. */
export function boardFrom(draft: FileBoard): { board: NewBoard } | { lacks: string } {
  const [first, ...more] = draft.sockets;
  if (first === undefined) return { lacks: "Choose a file and a socket first." };
  const named = namesOf(draft);
  if ("lacks" in named) return named;
  const { id: _, v: __, made_at_ms: ___, made_by: ____, ...whole }: BoardVersion = more.reduce((board, one) => joined(board, one.board), first.board);
  return { board: { ...whole, ...named } };
}

/** Two sockets of one file as one board: what both speak of stands once. */
function joined(one: BoardVersion, other: BoardVersion): BoardVersion {
  return {
    ...one,
    sockets: [...one.sockets, ...other.sockets] satisfies Socket[],
    parts: once([...(one.parts ?? []), ...(other.parts ?? [])], (part) => part.ref),
    // a rail to one socket may be a mere net of a path to the other
    nets: once([...(one.nets ?? []), ...(other.nets ?? [])].sort(byKind), (net) => net.name),
    ...(one.drawing == null || other.drawing == null ? {} : { drawing: drawnOnce(one.drawing, other.drawing) }),
  };
}

function byKind(one: Net, other: Net): number {
  return Number(one.rail_kind == null) - Number(other.rail_kind == null);
}

function drawnOnce(one: BoardDrawing, other: BoardDrawing): BoardDrawing {
  const pads = once([...(one.pads ?? []), ...(other.pads ?? [])], (pad) => `${pad.part} ${pad.pin} ${pad.x_mm} ${pad.y_mm} ${pad.side}`);
  return { ...one, pads, nets_cut: once([...(one.nets_cut ?? []), ...(other.nets_cut ?? [])], (net) => net) };
}

function once<T>(all: readonly T[], keyOf: (one: T) => string): T[] {
  return [...new Map([...all].reverse().map((one) => [keyOf(one), one])).values()].reverse();
}
