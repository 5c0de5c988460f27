/** What the screen of a shorted rail takes and says by itself: rails to choose, squares as typed, settings of a supply. */
import type { BoardPad, BoardVersion, Opinion, RailPoint } from "../generated/models";
import tables from "../generated/tables.json";
import { ohms } from "./ohms";

/** Names of the board's rails, by its nets and by its contacts' roles. */
export function railNames(board: BoardVersion): string[] {
  const named = (board.nets ?? []).filter((net) => net.rail_kind != null && net.rail_kind !== "ground").map((net) => net.name);
  const isRail = new Set<string>(tables.roles.filter((role) => "is_rail" in role && role.is_rail === true).map((role) => role.id));
  const touched = board.sockets.flatMap((socket) =>
    socket.contacts.filter((contact) => isRail.has(contact.role ?? "unknown")).map((contact) => contact.net ?? contact.number),
  );
  return [...new Set([...named, ...touched])];
}

/** From these odds on a shorted rail is worth a way of its own on the opinion. */
const WORTH_HUNTING = 0.2;

/** The rail that the opinion holds for shorted, or would have hunted, if there is one. */
export function shortedRail(opinion: Opinion | null, board: BoardVersion): string | null {
  if (opinion === null) return null;
  const hunted = opinion.next.find((next) => next.action === "heat" || next.action === "millivolts");
  if (hunted?.touch.what === "rail") return hunted.touch.net;
  // a short beside another story is no story of its own in the list, and still to be hunted: decisions come first
  const known = railNames(board);
  const named = [
    ...opinion.decisions.filter((one) => one.kind === "hunt_rail" && one.odds >= WORTH_HUNTING).map((one) => one.subject),
    ...opinion.stories.filter((one) => one.kind === "rail_short" && one.odds >= WORTH_HUNTING).map((one) => one.subject),
    ...opinion.contacts.filter((one) => one.verdict === "short").map((one) => netOf(board, one.contact)),
  ];
  return named.find((name) => known.includes(name)) ?? null;
}

function netOf(board: BoardVersion, number: string): string {
  const contact = board.sockets.flatMap((socket) => socket.contacts).find((one) => one.number === number);
  return contact?.net ?? number;
}

/** Squares as typed: "15", or length and width in millimetres, "12 x 0.8"; null for what is neither. */
export function squaresTyped(text: string): number | null {
  const plain = text.trim().toLowerCase().replaceAll(",", ".").replace(/mm|squares?/g, "").trim();
  const [, length = "", width] = /^(\d*\.?\d+|\d+\.)(?:\s*[x×*/]\s*(\d*\.?\d+))?$/.exec(plain) ?? [];
  if (length === "") return null;
  if (width === undefined) return Number(length);
  return Number(width) > 0 ? Number((Number(length) / Number(width)).toPrecision(4)) : null;
}

/** A plain number as typed, its sign kept; null for what is none. */
export function numberTyped(text: string): number | null {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}

/** No bench supply gives more; the record of a point takes no more. */
const MOST = { V: 100, A: 1000 } as const;
const EXAMPLE = { V: "0.3", A: "1" } as const;

/** What a supply is set to, typed in volts or amperes, in thousandths; a sentence for what is none, null for nothing. */
export function supplyTyped(text: string, unit: keyof typeof MOST): number | string | null {
  if (text.trim() === "") return null;
  const value = numberTyped(text);
  if (value === null || value < 0) return `"${text}" is no setting of a supply in ${unit}; for example ${EXAMPLE[unit]}.`;
  if (value > MOST[unit]) return `"${text}" ${unit}: no bench supply gives that; for example ${EXAMPLE[unit]}.`;
  return Math.round(value * 1000);
}

/** What ohms typed are not, as a sentence; null: a number, with k, M or R if need be, or OL. What they are is the engine's. */
export function ohmsTrouble(text: string): string | null {
  const plain = text.trim();
  if (plain === "") return "Type what the meter shows, for example 4.7, or OL.";
  if (/^([o0]?\.?l|over|overload)$/i.test(plain) || ohms(plain) >= 0) return null;
  return `"${plain}" are no ohms; for example 4.7, 4k7, or OL.`;
}

/** "C12 pin 2, top side". */
export function padWords(pad: BoardPad): string {
  const side = pad.side === "both" ? "both sides" : `${pad.side} side`;
  return `${pad.part} pin ${pad.pin}, ${side}`;
}

/** Where a point lies, as far as it says. */
export function placedWords(point: RailPoint): string {
  const said = [
    point.along_squares == null ? null : `${Number(point.along_squares.toFixed(1))} squares`,
    point.x_mm == null || point.y_mm == null ? null : `${Number(point.x_mm.toFixed(1))}, ${Number(point.y_mm.toFixed(1))} mm`,
    point.is_injection === true ? "the current goes in here" : null,
    point.is_end === true ? "the rail ends here" : null,
  ];
  return said.filter((one) => one !== null).join("; ");
}
