/**
 * Where on the board something can be touched: pads out of the board's drawing, in the order of a contact's path.
 * Lengths are millimetres as the drawing has them, x to the right and y downwards, seen from the top.
 */
import type { BoardPad, BoardVersion, Contact, Feed, NextTouch, PathElement, Socket } from "../generated/models";

/** One station of a contact's way inward. `pads` are where it can be touched, the nearest to the contact first. */
export interface Station {
  id: string;
  name: string;
  what: string;
  /** The net whose pads these are. */
  net: string;
  pads: readonly BoardPad[];
  /** The way goes on through it; else it leads off the line. */
  inLine: boolean;
}

const SIDE_WORDS: Record<BoardPad["side"], string> = { top: "top side", bottom: "bottom side", both: "both sides" };
const REACH_WORDS: Record<NonNullable<BoardPad["reach"]>, string> = { free: "", fine: "fine tip", under_part: "under its part, out of reach" };

export function padsOf(board: BoardVersion, net: string | null | undefined): readonly BoardPad[] {
  return (board.drawing?.pads ?? []).filter((pad) => pad.net === net);
}

/** The contact's own pad, where the drawing has it. */
export function padOf(contact: Contact): { x_mm: number; y_mm: number } | null {
  return contact.x_mm == null || contact.y_mm == null ? null : { x_mm: contact.x_mm, y_mm: contact.y_mm };
}

/** What lies on a contact's way, from the contact inward, each with the pads to touch. */
export function stationsOf(board: BoardVersion, contact: Contact): Station[] {
  const stations: Station[] = [];
  let net = contact.net ?? "";
  (contact.path ?? []).forEach((element, place) => {
    const feed = contact.fed_by ?? null;
    if (feed !== null && element.what === "chip_pin" && element.part === feed.chip) {
      stations.push(...feedStations(board, contact, feed, element.pin, net));
      return;
    }
    stations.push(station(board, contact, String(place), nameOf(element), whatOf(board, element, net), net, isInLine(element)));
    if (element.what === "series" && element.far_net != null) {
      net = element.far_net;
      stations.push(station(board, contact, `${place}-far`, element.part, `far end, ${net}`, net, true));
    }
  });
  return stations;
}

/** What makes a rail: through a diode from its node, or by a chip whose own pin is on the rail. */
function feedStations(board: BoardVersion, contact: Contact, feed: Feed, pin: string, net: string): Station[] {
  const node = feed.net ?? net;
  const chip = (at: string): Station => station(board, contact, "feed-chip", feed.chip, whatOf(board, { what: "chip_pin", part: feed.chip, pin }, at), at, true);
  const swung = feed.coil ?? feed.capacitor ?? null;
  const what = feed.coil == null ? "capacitor of the charge pump" : "coil of the boost";
  const swings = swung === null ? [] : [station(board, contact, "feed-swings", swung, `${what}, at ${node}`, node, true)];
  if (feed.diode == null) return [chip(net), ...swings];
  return [station(board, contact, "feed-diode", feed.diode, `diode from ${node}`, net, true), ...swings, chip(node)];
}

function station(board: BoardVersion, contact: Contact, id: string, name: string, what: string, net: string, inLine: boolean): Station {
  const from = padOf(contact);
  const pads = padsOf(board, net).filter((pad) => idOf(pad.part) === name || pad.part === name);
  const sorted = from === null ? pads : [...pads].sort((a, b) => apart(a, from) - apart(b, from));
  return { id, name, what, net, pads: sorted, inLine };
}

/** A part's name as an id, as the server makes it: letters an id cannot have became -. */
export function idOf(part: string): string {
  const plain = part.replace(/[^A-Za-z0-9._:-]/g, "-");
  return /^[A-Za-z0-9]/.test(plain) ? plain : `x${plain}`;
}

function nameOf(element: PathElement): string {
  if (element.what === "test_point") return element.name;
  return element.part ?? "";
}

function whatOf(board: BoardVersion, element: PathElement, net: string): string {
  const part = element.what === "test_point" ? undefined : board.parts?.find((one) => one.ref === element.part);
  const value = part?.value_text === undefined || part.value_text === "" ? "" : `${part.value_text}, `;
  switch (element.what) {
    case "series":
      return `${value}${element.blocks_dc === true ? "a capacitor in line: nothing behind it shows here" : `in line, end at ${net}`}`;
    case "shunt":
      return `${value}to ${element.to_net ?? "ground"}${part?.fitted === false ? ", not fitted" : ""}`;
    case "clamp":
      return `${value}clamp to ${element.to_net ?? "ground"}`;
    case "pull":
      return `${value}pulls to ${element.to_net}`;
    case "chip_pin":
      return `${value}pin ${element.pin}`;
    case "test_point":
      return "test point";
  }
}

function isInLine(element: PathElement): boolean {
  return element.what === "series" || element.what === "chip_pin";
}

export function apart(one: { x_mm: number; y_mm: number }, other: { x_mm: number; y_mm: number }): number {
  return Math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm);
}

/** "top side, 12 mm away, fine tip": where a pad is, seen from the contact. */
export function placeOf(pad: BoardPad, from: { x_mm: number; y_mm: number } | null): string {
  const far = from === null ? "" : `${Math.round(apart(pad, from))} mm away`;
  return [SIDE_WORDS[pad.side], far, REACH_WORDS[pad.reach ?? "free"]].filter((words) => words !== "").join(", ");
}

/** Where a proposed touch is on the board: "R214.2: bottom side, 12 mm from J7"; null where the drawing does not say. */
export function whereTouched(board: BoardVersion, socket: Socket, next: NextTouch): string | null {
  if ((next.subject ?? "board_socket") !== "board_socket") return null; // the module's plug is on no board of ours
  const touch = next.touch;
  const pads = board.drawing?.pads ?? [];
  const named = touch.what === "part_end" || touch.what === "across_part" ? touch.part : touch.what === "test_point" ? touch.name : null;
  const of = named === null ? (touch.what === "rail" ? pointsOf(pads, touch.net) : []) : pads.filter((pad) => idOf(pad.part) === named || pad.part === named);
  const reached = of.filter((pad) => pad.reach !== "under_part");
  const center = centerOf(socket);
  if (reached.length === 0 || center === null) return null;
  const wanted = touch.what === "part_end" && touch.end === "far" ? farEnd(socket, touch.part) : null;
  const chosen = reached.find((pad) => pad.net === wanted) ?? [...reached].sort((a, b) => apart(a, center) - apart(b, center))[0];
  return chosen === undefined ? null : `${chosen.part}.${chosen.pin}: ${SIDE_WORDS[chosen.side]}, ${Math.round(apart(chosen, center))} mm from ${socket.ref}`;
}

function pointsOf(pads: readonly BoardPad[], net: string): readonly BoardPad[] {
  const of = pads.filter((pad) => pad.net === net);
  const points = of.filter((pad) => /^TP/i.test(pad.part));
  return points.length > 0 ? points : of.filter((pad) => /^C\d/i.test(pad.part));
}

function farEnd(socket: Socket, part: string): string | null {
  for (const contact of socket.contacts) {
    for (const element of contact.path ?? []) {
      if (element.what === "series" && element.part === part) return element.far_net ?? null;
    }
  }
  return null;
}

export function centerOf(socket: Socket): { x_mm: number; y_mm: number } | null {
  const places = socket.contacts.map(padOf).filter((place) => place !== null);
  if (places.length === 0) return null;
  const sum = places.reduce((a, b) => ({ x_mm: a.x_mm + b.x_mm, y_mm: a.y_mm + b.y_mm }));
  return { x_mm: sum.x_mm / places.length, y_mm: sum.y_mm / places.length };
}
