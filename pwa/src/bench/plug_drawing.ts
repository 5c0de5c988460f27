/**
 * The few contacts of a socket around one meeting, with what stands on them: what `PlugDrawing` draws.
 * Decides nothing but which part is shown; who meets what is the engine's.
 */
import type { Meeting, Socket, Way } from "../generated/models";

export interface Column {
  socket: string;
  name: string;
  /** The contact below: of the plug, or of the row beside (a tool across the rows); null: none stands there. */
  below: string | null;
}

export interface PlugWindow {
  columns: Column[];
  /** What the lower row is: the plug's contacts, the socket's next row, or nothing. */
  lower: "plug" | "row" | "none";
  /** Columns the voltage comes by and goes to. */
  from: number | null;
  to: number | null;
  /** Columns whose plug contacts the module joins. */
  joined: [number, number] | null;
}

const SHOWN = 6;

export function windowAround(socket: Socket, way: Way, meeting: Meeting): PlugWindow | null {
  const plugOn = new Map((way.stands ?? []).map(({ plug, socket: on }) => [on, plug]));
  const standsOn = new Map((way.stands ?? []).map(({ plug, socket: on }) => [plug, on]));
  // under a tool the plug is home: its contact stands on the socket's of the same number
  const at = meeting.meets === "module" && standsOn.size > 0 ? standsOn.get(meeting.contact) : meeting.contact;
  const across = way.kind === "tool_across";
  const rowIndex = socket.rows.findIndex((row) => row.contacts.includes(across ? meeting.from_contact : (at ?? "")));
  const row = socket.rows[rowIndex];
  if (row === undefined || at === undefined) return null;
  const beside = across ? socket.rows.find((other) => other !== row && other.contacts.includes(meeting.contact)) : undefined;
  const place = row.contacts.indexOf(across ? meeting.from_contact : at);
  const first = Math.max(0, Math.min(place - 2, row.contacts.length - SHOWN));
  const names = new Map(socket.contacts.map((contact) => [contact.number, contact.name ?? ""]));
  const columns = row.contacts.slice(first, first + SHOWN).map((number, column) => ({
    socket: number,
    name: names.get(number) ?? "",
    below: beside !== undefined ? (beside.contacts[first + column] ?? null) : (plugOn.get(number) ?? null),
  }));
  const columnOf = (number: string): number | null => {
    const found = columns.findIndex((column) => column.socket === number || (across && column.below === number));
    return found < 0 ? null : found;
  };
  const [near, far] = (meeting.joined_by ?? []).map((plug) => columnOf(standsOn.get(plug) ?? ""));
  return {
    columns,
    lower: across ? "row" : plugOn.size > 0 ? "plug" : "none",
    from: columnOf(meeting.from_contact),
    to: columnOf(at),
    joined: near != null && far != null ? [near, far] : null,
  };
}
