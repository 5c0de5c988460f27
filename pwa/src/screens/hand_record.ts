/**
 * The record made of a board that was typed in, or the first sentence that says what is missing or wrong,
 * where, and an example. Pure; nothing is half made.
 */
import type { Contact, Net, Part, PathElement, Socket } from "../generated/models";
import type { NewBoard } from "../store/boards";
import { namesOf } from "./board_kept";
import { type HandBoard, type HandContact, type HandNet, type HandPathElement, type HandSocket, emptyContact, emptyPart, partsNamed } from "./hand_board";
import { layOut } from "./hand_rows";
import { toMillivolts } from "./volts";

/** What is wrong, and which socket (by its place) and contact it is about. */
export interface Lack {
  lacks: string;
  socket?: number;
  contact?: string;
}

const ID = /^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$/;
const MAX_OHM = 1e9;

export function boardOf(draft: HandBoard): { board: NewBoard } | Lack {
  const named = namesOf(draft);
  if ("lacks" in named) return named;
  const sockets: Socket[] = [];
  for (const [place, typed] of draft.sockets.entries()) {
    const made = socketOf(typed);
    const several = draft.sockets.length > 1 && typed.ref.trim() !== "" ? `${typed.ref.trim()}: ` : "";
    if ("lacks" in made) return { ...made, lacks: several + made.lacks, socket: place };
    if (sockets.some(({ ref }) => ref === made.socket.ref)) {
      return { lacks: `Two sockets are called ${made.socket.ref}; each has a name of its own, for example J14 and J15.`, socket: place };
    }
    sockets.push(made.socket);
  }
  const nets: Net[] = [];
  for (const typed of draft.nets) {
    const made = netOf(typed);
    if (typeof made === "string") return { lacks: made };
    if (nets.some(({ name }) => name === made.name)) return { lacks: `The rail ${made.name} stands twice; each stands once, for example LED_A.` };
    nets.push(made);
  }
  return { board: { ...named, sockets, parts: partsOf(draft), nets } };
}

function socketOf(draft: HandSocket): { socket: Socket } | Lack {
  const ref = draft.ref.trim();
  if (!ID.test(ref)) return { lacks: `The socket "${ref}" is no name of letters and digits, for example J14.` };
  const pitch_mm = Number(draft.pitch_mm.trim().replace(",", "."));
  if (!(pitch_mm > 0 && pitch_mm <= 25)) return { lacks: `The pitch "${draft.pitch_mm}" is not above 0 and at most 25 mm, for example 0.4.` };
  const laid = layOut(draft);
  if ("lacks" in laid) return laid;
  const numbers = laid.rows.flatMap((row) => [...row.contacts]);
  const contacts: Contact[] = [];
  for (const number of numbers) {
    const made = contactOf(number, draft.contacts, numbers);
    if (typeof made === "string") return { lacks: made, contact: number };
    contacts.push(made);
  }
  const module_joins = joinsOf(draft.joins, numbers);
  if (typeof module_joins === "string") return { lacks: module_joins };
  return { socket: { ref, name: draft.name.trim(), kind: draft.kind, pitch_mm, rows: laid.rows, contacts, module_joins } };
}

/** A contact of the record, or the sentence that says what is wrong with it. */
function contactOf(number: string, all: HandSocket["contacts"], numbers: readonly string[]): Contact | string {
  const typed: HandContact = all[number] ?? emptyContact();
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
  const path: PathElement[] = [];
  for (const element of typed.path) {
    const made = elementOf(element);
    if (typeof made === "string") return `Contact ${number}, what lies behind it: ${made}`;
    path.push(made);
  }
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
    path,
  };
}

function elementOf({ what, part: typed, ohm: typedOhm, to, pin }: HandPathElement): PathElement | string {
  const part = typed.trim();
  const to_net = to.trim() === "" ? null : to.trim();
  if (what === "test_point") {
    if (part === "") return "the test point has no name; for example TP12.";
    return { what, name: part, side: pin === "top" || pin === "bottom" ? pin : null };
  }
  const nameless = part === "" && (what === "clamp" || what === "pull");
  if (!nameless && !ID.test(part)) return `"${part}" is no part's name; for example R214.`;
  if (what === "chip_pin") return pin.trim() === "" ? `the pin of ${part} is missing; for example 14.` : { what, part, pin: pin.trim() };
  if (what === "shunt") return { what, part, to_net };
  if (what === "clamp") return { what, part: nameless ? null : part, to_net };
  const ohm = ohms(typedOhm);
  if (ohm === undefined) return `"${typedOhm}" are no ohms from 0 to 1000M; for example 4k7, or nothing.`;
  if (what === "pull") {
    if (ohm === null || ohm === 0 || to_net === null) return "a pull has ohms above 0 and a net it goes to; for example 2k2 to 1V8.";
    return { what, part: nameless ? null : part, ohm, to_net };
  }
  return { what: "series", part, ohm, is_fuse: what === "fuse", blocks_dc: what === "blocks" };
}

/** null: nothing typed; undefined: no resistance. 33, 4k7, 0,1 and 2.2M are some. */
export function ohms(text: string): number | null | undefined {
  if (text.trim() === "") return null;
  const found = /^(\d+)(?:[.,](\d+))?\s*([rkmΩ]?)(\d*)\s*(?:ohm|Ω)?$/i.exec(text.trim());
  if (found === null) return undefined;
  const [, whole = "", part = "", multiplier = "", inside = ""] = found;
  if (inside !== "" && (part !== "" || multiplier === "")) return undefined;
  const exponent = { k: 3, m: 6 }[multiplier.toLowerCase()] ?? 0;
  const value = Number(`${whole}.${part || inside || "0"}e${exponent}`);
  return value > MAX_OHM ? undefined : value;
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

function partsOf(draft: HandBoard): Part[] {
  return partsNamed(draft).map((ref) => {
    const { value_text, ...said } = draft.parts[ref] ?? emptyPart(ref);
    return { ref, ...said, value_text: value_text.trim() };
  });
}

/** A number above 0 of a rail: null: nothing typed; undefined: none, or above the most there is. */
function amount(text: string, most: number): number | null | undefined {
  if (text.trim() === "") return null;
  const value = Number(text.trim().replace(",", "."));
  return value > 0 && value <= most ? value : undefined;
}

function netOf(typed: HandNet): Net | string {
  const name = typed.name.trim();
  if (name === "") return "A rail has no name, for example LED_A.";
  const volts = { working_mv: millivolts(typed.working_v), overvoltage_mv: millivolts(typed.overvoltage_v) };
  const led_count = amount(typed.led_count, 400);
  const bleed_ohm = ohms(typed.bleed_ohm);
  const amounts = { stored_uf: amount(typed.stored_uf, 1e7), source_ma: amount(typed.source_ma, 1e6) };
  const wrong = [
    volts.working_mv === undefined ? `the working volts "${typed.working_v}" are no number from -1000 to 1000; for example 21.5` : "",
    volts.overvoltage_mv === undefined ? `the volts it climbs to "${typed.overvoltage_v}" are no number from -1000 to 1000; for example 28` : "",
    amounts.stored_uf === undefined ? `the capacitance "${typed.stored_uf}" is no number above 0 in µF; for example 4.7` : "",
    bleed_ohm === undefined || bleed_ohm === 0 ? `the bleed "${typed.bleed_ohm}" is no resistance above 0; for example 1.5M` : "",
    led_count === undefined || (led_count !== null && !Number.isInteger(led_count)) ? `"${typed.led_count}" is no number of LEDs from 1 to 400; for example 8` : "",
    amounts.source_ma === undefined ? `the current "${typed.source_ma}" is no number above 0 in mA; for example 300` : "",
  ].find((words) => words !== "");
  if (wrong !== undefined) return `The rail ${name}: ${wrong}, or nothing.`;
  return {
    name,
    rail_kind: typed.rail_kind === "" ? null : typed.rail_kind,
    stores_charge: typed.stores_charge,
    proof_at: typed.proof_at.trim() === "" ? null : typed.proof_at.trim(),
    working_mv: volts.working_mv ?? null,
    overvoltage_mv: volts.overvoltage_mv ?? null,
    led_count: led_count ?? null,
    bleed_ohm: bleed_ohm ?? null,
    stored_uf: amounts.stored_uf ?? null,
    source_ma: amounts.source_ma ?? null,
  };
}
