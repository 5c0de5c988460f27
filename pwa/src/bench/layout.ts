/**
 * A socket as it lies under this microscope, and how one gets from one contact to another in it.
 *
 * Rows come from the board's record in the order they lie; `turned` is half a turn of the board,
 * `flipped` a look from the other side. Pure: the same rows and view give the same answer.
 */
import type { Socket } from "../generated/models";

/** How this technician's picture differs from the record's. */
export interface View {
  turned: boolean;
  flipped: boolean;
}

export const AS_RECORDED: View = { turned: false, flipped: false };

export interface LaidRow {
  name: string;
  contacts: readonly string[];
  /** Places without a contact, the first from the left 1: see `Row.left_out`. */
  left_out?: readonly number[];
}

/** All places of a row from left to right, `null` where no contact is. */
export function placesOf(row: LaidRow): (string | null)[] {
  const places: (string | null)[] = [...row.contacts];
  for (const place of [...(row.left_out ?? [])].sort((a, b) => a - b)) places.splice(place - 1, 0, null);
  return places;
}

/** Where a contact lies: row and place in it, both from 0, left to right as drawn. */
export interface Spot {
  row: number;
  column: number;
}

/** The rows from top to bottom, each from left to right, as they lie in this view. */
export function layRows(socket: Pick<Socket, "rows">, view: View): LaidRow[] {
  // half a turn swaps top and bottom and left and right; the other side swaps left and right alone
  const mirrored = view.turned !== view.flipped;
  const rows = socket.rows.map(({ name, contacts, left_out = [] }) => {
    const places = contacts.length + left_out.length;
    if (!mirrored) return { name, contacts: [...contacts], left_out };
    return { name, contacts: [...contacts].reverse(), left_out: left_out.map((place) => places + 1 - place) };
  });
  return view.turned ? rows.reverse() : rows;
}

export function spotOf(rows: readonly LaidRow[], contact: string): Spot | null {
  for (const [row, laid] of rows.entries()) {
    const column = placesOf(laid).indexOf(contact);
    if (column >= 0) return { row, column };
  }
  return null;
}

/**
 * Five columns of every row with the contact in the middle one; `null` beyond the end of a row, so
 * that the end of the socket is seen coming, and where a contact was left out.
 */
export function fiveAround(rows: readonly LaidRow[], contact: string): (string | null)[][] {
  const spot = spotOf(rows, contact);
  if (spot === null) return [];
  return rows.map(placesOf).map((row) => [-2, -1, 0, 1, 2].map((step) => row[spot.column + step] ?? null));
}

/**
 * The way a probe goes through the whole socket: along the first row, back along the next, so that
 * every step but one a row is to the neighbour.
 */
export function sweepOrder(rows: readonly LaidRow[]): string[] {
  return rows.flatMap((row, i) => (i % 2 === 0 ? [...row.contacts] : [...row.contacts].reverse()));
}

const ORDINALS = ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"];

function ordinal(n: number): string {
  const word = ORDINALS[n];
  if (word !== undefined && word !== "") return word;
  const teen = n % 100 >= 11 && n % 100 <= 13;
  return `${n}${teen ? "th" : (["th", "st", "nd", "rd"][n % 10] ?? "th")}`;
}

/**
 * The move, as one says it to somebody whose eyes are in the scope: "inner row, next along",
 * "inner row, next back", "same again", "jump: outer row, third from the left end".
 */
export function moveWords(rows: readonly LaidRow[], from: string | null, to: string): string {
  const there = spotOf(rows, to);
  if (there === null) return "";
  const row = rows[there.row];
  if (row === undefined) return "";
  const name = row.name === "" ? "" : `${row.name}, `;
  const here = from === null ? null : spotOf(rows, from);
  if (here !== null && here.row === there.row) {
    if (here.column === there.column) return `${name}same contact again`;
    if (Math.abs(here.column - there.column) === 1) {
      return `${name}next to the ${there.column > here.column ? "right" : "left"}`;
    }
  }
  // counted in contacts, as an eye does: a place left out is none
  const fromLeft = row.contacts.indexOf(to) + 1;
  const fromRight = row.contacts.length + 1 - fromLeft;
  const end = fromLeft <= fromRight ? "left" : "right";
  const place = `${name}${ordinal(Math.min(fromLeft, fromRight))} from the ${end} end`;
  return here === null ? place : `jump: ${place}`;
}
