/**
 * A board while it is typed in: the draft as text, what is pasted too. Text stays text until the end, so
 * that a killed page gives back exactly what was typed. What is made of it: `hand_record.ts`.
 */
import type { ColumnMap, Contact, ContactNumbering, Part, PartKind, PathElement, PinColumns, PinTable, RailKind, Role, Side, SocketKind } from "../generated/models";
import tables from "../generated/tables.json";
import { layOut } from "./hand_rows";

export const BOARD_DRAFT = "board-by-hand";

export const SOCKET_KINDS: readonly { id: SocketKind; words: string }[] = [
  { id: "mezzanine", words: "board to board" },
  { id: "zif", words: "flat cable, latched" },
  { id: "micro_coax", words: "micro coax" },
  { id: "open_header", words: "open header" },
  { id: "card_edge", words: "card edge" },
  { id: "usb_c", words: "USB-C" },
  { id: "hdmi", words: "HDMI" },
  { id: "other", words: "another kind" },
];

/** One part of a path as typed; `fuse` and `blocks` are parts in series. */
export interface HandPathElement {
  what: PathElement["what"] | "fuse" | "blocks";
  /** The part, or the name of a test point. */
  part: string;
  ohm: string;
  to: string;
  /** The pin of a chip, or the side of a test point. */
  pin: string;
}

/** One contact as typed. */
export interface HandContact {
  name: string;
  net: string;
  role: Role;
  /** The role came from the name of a pasted table and nobody has looked at it yet. */
  proposed: boolean;
  working_v: string;
  limit_v: string;
  sourced_by: Side | "";
  pair_with: string;
  leads_to: string;
  path: HandPathElement[];
}

/** What is pasted and what was said of it; `head` and `lines` are the engine's proposal. */
export interface HandPaste {
  text: string;
  delimiter: PinColumns["delimiter"] | null;
  first_line: PinColumns["first_line"] | null;
  columns: Partial<ColumnMap>;
  head: string[][];
  lines: number;
}

export interface HandSocket {
  ref: string;
  name: string;
  kind: SocketKind;
  pitch_mm: string;
  row_lengths: string;
  order: NonNullable<ContactNumbering["order"]> | "as_listed";
  pin_one: NonNullable<ContactNumbering["pin_one"]>;
  lettered: boolean;
  from_other_side: boolean;
  /** Numbers whose place stays empty: "59-66, 12". */
  left_out: string;
  /** Rows as listed, one a line: "outer: 1 3 _ 7". */
  rows_listed: string;
  /** Groups of contacts that the module joins inside: "3 4, 7 8". */
  joins: string;
  contacts: Record<string, HandContact>;
  paste: HandPaste;
}

export interface HandPart {
  kind: PartKind;
  value_text: string;
  fitted: boolean;
  holds_data: boolean;
  guards_data: boolean;
}

/** A rail as typed, and what it stores. */
export interface HandNet {
  name: string;
  rail_kind: RailKind | "";
  working_v: string;
  proof_at: string;
  stores_charge: boolean;
  stored_uf: string;
  bleed_ohm: string;
  led_count: string;
  overvoltage_v: string;
  source_ma: string;
}

export interface HandBoard {
  device: string;
  board: string;
  revision: string;
  sockets: HandSocket[];
  /** Which socket is open. */
  at: number;
  nets: HandNet[];
  parts: Record<string, HandPart>;
}

export function emptyPaste(): HandPaste {
  return { text: "", delimiter: null, first_line: null, columns: {}, head: [], lines: 0 };
}

export function emptySocket(): HandSocket {
  return {
    ref: "", name: "", kind: "mezzanine", pitch_mm: "0.4", row_lengths: "", order: "along_twice", pin_one: "top_left", lettered: false,
    from_other_side: false, left_out: "", rows_listed: "", joins: "", contacts: {}, paste: emptyPaste(),
  };
}

export function emptyBoard(): HandBoard {
  return { device: "", board: "", revision: "", sockets: [emptySocket()], at: 0, nets: [], parts: {} };
}

export function emptyContact(): HandContact {
  return { name: "", net: "", role: "unknown", proposed: false, working_v: "", limit_v: "", sourced_by: "", pair_with: "", leads_to: "", path: [] };
}

export function emptyNet(name: string): HandNet {
  return {
    name, rail_kind: "", working_v: "", proof_at: "", stores_charge: false, stored_uf: "", bleed_ohm: "", led_count: "",
    overvoltage_v: "", source_ma: "",
  };
}

/** A part nobody has said anything of: its kind by the letters of its name. */
export function emptyPart(ref: string): HandPart {
  const letters = /^[A-Z]*/.exec(ref.toUpperCase())?.[0] ?? "";
  const kind = tables.part_letters.find((row) => row.letters === letters)?.kind ?? "other";
  return { kind: kind as PartKind, value_text: "", fitted: true, holds_data: false, guards_data: false };
}

/** A kept draft; one of an older app had a single socket at its top. */
export function resumed(kept: Partial<HandBoard> & Partial<HandSocket>): HandBoard {
  const { device = "", board = "", revision = "", sockets, at = 0, nets = [], parts = {}, ...older } = kept;
  const whole = (sockets ?? [older]).map((one) => ({ ...emptySocket(), ...one, contacts: wholeContacts(one.contacts) }));
  const known = Object.entries(parts).map(([ref, part]) => [ref, { ...emptyPart(ref), ...part }]);
  return { device, board, revision, sockets: whole, at: Math.min(at, whole.length - 1), nets, parts: Object.fromEntries(known) as HandBoard["parts"] };
}

function wholeContacts(contacts: HandSocket["contacts"] = {}): HandSocket["contacts"] {
  return Object.fromEntries(Object.entries(contacts).map(([number, one]) => [number, { ...emptyContact(), ...one }]));
}

/** The parts that contacts and paths of the board name, each once, in the order they come. */
export function partsNamed(draft: HandBoard): string[] {
  const contacts = draft.sockets.flatMap((socket) => Object.values(socket.contacts));
  const named = contacts.flatMap(({ leads_to, path }) => [leads_to, ...path.map((one) => (one.what === "test_point" ? "" : one.part))]);
  return [...new Set(named.map((ref) => ref.trim()).filter((ref) => ref !== ""))];
}

const RAIL_OF: Partial<Record<Role, RailKind>> = {
  main_rail: "main", panel_supply: "panel", io_rail: "io", memory_rail: "memory", core_rail: "core", core_rail_large: "core", led_plus: "backlight",
};

/** The rails that contacts name, each with the kind and the working volts its contacts speak for. */
export function railsNamed(draft: HandBoard): HandNet[] {
  const rails = new Map<string, HandNet>();
  for (const { net, role, working_v } of draft.sockets.flatMap((socket) => Object.values(socket.contacts))) {
    const is_rail = tables.roles.find((row) => row.id === role)?.is_rail === true;
    const name = net.trim();
    if (name !== "" && is_rail && !rails.has(name)) {
      const rail_kind = RAIL_OF[role] ?? "";
      rails.set(name, { ...emptyNet(name), rail_kind, working_v, stores_charge: rail_kind === "main" || rail_kind === "backlight" });
    }
  }
  return [...rails.values()];
}

/** The socket and the parts after a table was taken: its contacts, its rows if it names them, what it joins. */
export function withTable(draft: HandBoard, table: PinTable): Pick<HandBoard, "sockets" | "parts"> {
  const contacts = Object.fromEntries((table.contacts ?? []).map((contact) => [contact.number, typedFrom(contact)]));
  const joins = (table.module_joins ?? []).length === 0 ? {} : { joins: (table.module_joins ?? []).map((group) => group.join(" ")).join(", ") };
  const sockets = draft.sockets.map((socket, place) => (place === draft.at ? { ...socket, ...rowsFrom(socket, table), ...joins, contacts } : socket));
  const told = (table.parts ?? []).map((part) => [part.ref, typedPart(part, draft.parts[part.ref])] as const);
  return { sockets, parts: { ...draft.parts, ...Object.fromEntries(told) } };
}

const PLAIN_NAMES = ["", "upper", "lower"];

/** The rows a table names; without any, and with none typed, its lines are one row. */
function rowsFrom(socket: HandSocket, table: PinTable): Partial<HandSocket> {
  const rows = table.rows ?? [];
  const numbers = (table.contacts ?? []).map((contact) => contact.number);
  if (rows.length === 0) return "rows" in layOut(socket) ? {} : oneRow(numbers);
  const { numbering } = table;
  // names of the table's own would be lost in a counting, which has only upper and lower
  if (numbering == null || rows.some(({ name }) => !PLAIN_NAMES.includes(name.toLowerCase()))) {
    return { order: "as_listed", rows_listed: rows.map(({ name, contacts }) => `${name}: ${contacts.join(" ")}`).join("\n") };
  }
  const { row_lengths, order = "along_twice", pin_one = "top_left", lettered = false } = numbering;
  return { row_lengths: row_lengths.join(", "), order, pin_one, lettered, from_other_side: false, left_out: "" };
}

function oneRow(numbers: readonly string[]): Partial<HandSocket> {
  if (numbers.every((number, place) => number === String(place + 1))) return { row_lengths: String(numbers.length), order: "along_twice" };
  return { order: "as_listed", rows_listed: numbers.join(" ") };
}

function typedPart(part: Part, known: HandPart = emptyPart(part.ref)): HandPart {
  // a table that says nothing of the data leaves what was ticked
  const said = part.holds_data === true || part.guards_data === true;
  const data = said ? { holds_data: part.holds_data === true, guards_data: part.guards_data === true } : {};
  return { ...known, kind: part.kind, ...data };
}

/** A contact of a pasted table as if it had been typed. */
function typedFrom(contact: Contact): HandContact {
  return {
    name: contact.name ?? "",
    net: contact.net ?? "",
    role: contact.role ?? "unknown",
    proposed: contact.role_origin === "proposed",
    working_v: contact.working_mv == null ? "" : String(contact.working_mv / 1000),
    limit_v: contact.limit_mv == null ? "" : String(contact.limit_mv / 1000),
    sourced_by: contact.sourced_by ?? "",
    pair_with: contact.pair_with ?? "",
    leads_to: contact.leads_to ?? "",
    path: (contact.path ?? []).map(typedElement),
  };
}

function typedElement(element: PathElement): HandPathElement {
  const typed: HandPathElement = { what: element.what, part: "", ohm: "", to: "", pin: "" };
  if ("part" in element) typed.part = element.part ?? "";
  if ("ohm" in element && element.ohm != null) typed.ohm = String(element.ohm);
  if ("to_net" in element) typed.to = element.to_net ?? "";
  if (element.what === "series" && element.is_fuse === true) typed.what = "fuse";
  if (element.what === "series" && element.blocks_dc === true) typed.what = "blocks";
  if (element.what === "chip_pin") typed.pin = element.pin;
  if (element.what === "test_point") [typed.part, typed.pin] = [element.name, element.side ?? ""];
  return typed;
}
