/**
 * A board while it is typed in: the draft as text, what it still lacks, and the record made of it.
 * Text stays text until the end, so that a killed page gives back exactly what was typed.
 */
import { rowsOf } from "../bench/numbering";
import type { Contact, ContactNumbering, Part, Role, Row, Side, SocketKind } from "../generated/models";
import type { NewBoard } from "../store/boards";
import { toMillivolts } from "./volts";

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
}

export interface HandBoard {
  device: string;
  board: string;
  revision: string;
  ref: string;
  kind: SocketKind;
  pitch_mm: string;
  row_lengths: string;
  order: NonNullable<ContactNumbering["order"]>;
  pin_one: NonNullable<ContactNumbering["pin_one"]>;
  lettered: boolean;
  from_other_side: boolean;
  /** Groups of contacts that the module joins inside: "3 4, 7 8". */
  joins: string;
  contacts: Record<string, HandContact>;
  parts: Record<string, { holds_data: boolean; guards_data: boolean }>;
}

export function emptyBoard(): HandBoard {
  return {
    device: "", board: "", revision: "", ref: "", kind: "mezzanine", pitch_mm: "0.4", row_lengths: "",
    order: "along_twice", pin_one: "top_left", lettered: false, from_other_side: false, joins: "", contacts: {}, parts: {},
  };
}

export function emptyContact(): HandContact {
  return { name: "", net: "", role: "unknown", proposed: false, working_v: "", limit_v: "", sourced_by: "", pair_with: "", leads_to: "" };
}

const MAX_ROW = 400;
const MAX_ROWS = 8;

/** The rows as they lie, or the sentence that says what was expected. */
export function layOut(draft: HandBoard): { rows: Row[] } | { lacks: string } {
  const lengths = draft.row_lengths.split(/[^0-9]+/).filter((text) => text !== "").map(Number);
  const odd = /[^0-9 ,;+x/]/.test(draft.row_lengths);
  if (odd || lengths.length === 0 || lengths.length > MAX_ROWS || lengths.some((length) => length < 1 || length > MAX_ROW)) {
    const given = draft.row_lengths.trim() === "" ? "nothing" : `"${draft.row_lengths}"`;
    return { lacks: `Contacts in each row, from the top: ${given} is no list of 1 to ${MAX_ROWS} numbers; for example 17, 17.` };
  }
  const rows = rowsOf({ ...draft, row_lengths: lengths });
  if (rows !== null) return { rows };
  return { lacks: `Odd and even numbers do not fit into rows of ${lengths.join(" and ")}: two rows are expected, equal, or the one with contact 1 longer by one; for example 10, 9.` };
}

const ID = /^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$/;

/** The record, or the first sentence that says what is missing or wrong, where, and an example. */
export function boardOf(draft: HandBoard): { board: NewBoard } | { lacks: string } {
  const [device, board, ref] = [draft.device.trim(), draft.board.trim(), draft.ref.trim()];
  if (device === "") return { lacks: "The device is missing, for example T10." };
  if (board === "") return { lacks: "The board is missing, for example TB-1, as printed on it." };
  if (!ID.test(ref)) return { lacks: `The socket "${ref}" is no name of letters and digits, for example J14.` };
  const pitch_mm = Number(draft.pitch_mm.trim().replace(",", "."));
  if (!(pitch_mm > 0 && pitch_mm <= 25)) return { lacks: `The pitch "${draft.pitch_mm}" is not above 0 and at most 25 mm, for example 0.4.` };
  const laid = layOut(draft);
  if ("lacks" in laid) return laid;
  const numbers = laid.rows.flatMap((row) => [...row.contacts]);
  const contacts: Contact[] = [];
  for (const number of numbers) {
    const made = contactOf(number, draft.contacts, numbers);
    if (typeof made === "string") return { lacks: made };
    contacts.push(made);
  }
  const joins = joinsOf(draft.joins, numbers);
  if (typeof joins === "string") return { lacks: joins };
  const socket = { ref, kind: draft.kind, pitch_mm, rows: laid.rows, contacts, module_joins: joins };
  return { board: { device, board, revision: draft.revision.trim(), sockets: [socket], parts: partsOf(contacts, draft) } };
}

/** A contact of the record, or the sentence that says what is wrong with it. */
function contactOf(number: string, all: HandBoard["contacts"], numbers: readonly string[]): Contact | string {
  const typed = all[number] ?? emptyContact();
  const working_mv = millivolts(typed.working_v);
  const limit_mv = millivolts(typed.limit_v);
  if (working_mv === undefined) return voltsTrouble(number, "working", typed.working_v);
  if (limit_mv === undefined) return voltsTrouble(number, "limit", typed.limit_v);
  if (working_mv !== null && limit_mv !== null && Math.abs(limit_mv) < Math.abs(working_mv)) {
    return `Contact ${number}: the limit of ${typed.limit_v} V is below the working ${typed.working_v} V; for example ${typed.working_v}.`;
  }
  const pair = typed.pair_with.trim();
  if (pair !== "" && (pair === number || all[pair]?.pair_with.trim() !== number || !numbers.includes(pair))) {
    return `Contact ${number} is paired with "${pair}": a pair is two contacts of this socket that name each other, for example 4 with 5 and 5 with 4.`;
  }
  const leads = typed.leads_to.trim();
  if (leads !== "" && !ID.test(leads)) return `Contact ${number} leads to "${leads}", which is no part's name; for example U7.`;
  return {
    number,
    name: typed.name.trim(),
    net: typed.net.trim() === "" ? null : typed.net.trim(),
    role: typed.role,
    role_origin: typed.proposed ? "proposed" : "typed",
    working_mv,
    limit_mv,
    sourced_by: typed.sourced_by === "" ? null : typed.sourced_by,
    pair_with: pair === "" ? null : pair,
    leads_to: leads === "" ? null : leads,
  };
}

function voltsTrouble(number: string, which: string, given: string): string {
  return `Contact ${number}: the ${which} volts "${given}" are no number from -1000 to 1000; for example 3.3, or nothing.`;
}

/** null: nothing typed; undefined: no voltage. */
export function millivolts(text: string): number | null | undefined {
  if (text.trim() === "") return null;
  const mv = toMillivolts(text, "V");
  return mv === null || Math.abs(mv) > 1_000_000 ? undefined : Math.round(mv * 100) / 100;
}

function joinsOf(text: string, numbers: readonly string[]): string[][] | string {
  const groups = text.split(/[,;\n]/).map((group) => group.split(/[\s+]+/).filter((one) => one !== ""));
  const told = groups.filter((group) => group.length > 0);
  for (const group of told) {
    const stranger = group.find((one) => !numbers.includes(one));
    if (stranger !== undefined) return `What the module joins names "${stranger}", which this socket does not have; for example 3 4, 7 8.`;
    if (group.length < 2) return `What the module joins names ${group[0]} alone; at least two contacts are joined, for example 3 4, 7 8.`;
  }
  return told;
}

function partsOf(contacts: readonly Contact[], draft: HandBoard): Part[] {
  const refs = [...new Set(contacts.flatMap((contact) => contact.leads_to ?? []))];
  return refs.map((ref) => {
    const said = draft.parts[ref] ?? { holds_data: false, guards_data: false };
    return { ref, kind: said.holds_data ? "storage" : "other", ...said };
  });
}

/** A contact of a pasted table as if it had been typed. */
export function typedFrom(contact: Contact): HandContact {
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
  };
}
