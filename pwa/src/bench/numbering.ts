/**
 * How a socket's contacts are numbered, as rows as they lie: drawn while a board is typed in, also
 * before the engine is up. The engine's half is `server/engine/socket_rows.py`; the vectors of
 * `tests/vectors/numbering` hold the two equal. Pure.
 */
import type { ContactNumbering, Row } from "../generated/models";

const LETTERS = "ABCDEFGH";

/** The rows from top to bottom, each from left to right; null: odd and even do not fit into these rows. */
export function rowsOf(numbering: ContactNumbering): Row[] | null {
  const { row_lengths, order = "along_twice", pin_one = "top_left" } = numbering;
  const { lettered = false, from_other_side = false } = numbering;
  const upsideDown = pin_one.startsWith("bottom");
  const fromRight = pin_one.endsWith("right") !== from_other_side;
  const lengths = upsideDown ? [...row_lengths].reverse() : [...row_lengths];
  const counted = order === "odd_even" && !lettered ? oddEven(lengths) : along(lengths, order, lettered);
  if (counted === null) return null;
  const laid = fromRight ? counted.map((row) => row.reverse()) : counted;
  if (upsideDown) laid.reverse();
  return laid.map((contacts, place) => ({ name: rowName(place, laid.length), contacts }));
}

function rowName(place: number, of: number): string {
  if (of === 1) return "";
  if (of === 2) return place === 0 ? "upper" : "lower";
  return `row ${place + 1}`;
}

function along(lengths: readonly number[], order: string, lettered: boolean): string[][] {
  let before = 0;
  return lengths.map((length, place) => {
    const start = lettered ? 0 : before;
    const row = Array.from({ length }, (_, column) => `${lettered ? LETTERS[place] : ""}${start + column + 1}`);
    before += length;
    return order === "along_then_back" && place % 2 === 1 ? row.reverse() : row;
  });
}

function oddEven(lengths: readonly number[]): string[][] | null {
  const [odd = 0, even = 0] = lengths;
  if (lengths.length !== 2 || (odd !== even && odd !== even + 1)) return null;
  return [odd, even].map((length, first) => Array.from({ length }, (_, column) => String(2 * column + first + 1)));
}
