/**
 * How a socket's contacts are numbered, as rows as they lie: drawn while a board is typed in, also
 * before the engine is up. The engine's half is `server/engine/socket_rows.py`; the vectors of
 * `tests/vectors/numbering` hold the two equal. Pure.
 */
import type { ContactNumbering, Row } from "../generated/models";

const LETTERS = "ABCDEFGH";

/** The rows from top to bottom, each from left to right; null: these rows cannot be numbered so. */
export function rowsOf(numbering: ContactNumbering): Row[] | null {
  const { row_lengths, order = "along_twice", pin_one = "top_left" } = numbering;
  const { lettered = false, from_other_side = false, left_out = [] } = numbering;
  const upsideDown = pin_one.startsWith("bottom");
  const fromRight = pin_one.endsWith("right") !== from_other_side;
  const lengths = upsideDown ? [...row_lengths].reverse() : [...row_lengths];
  const counted = order === "odd_even" && !lettered ? oddEven(lengths) : along(lengths, order, lettered);
  if (counted === null) return null;
  const laid = fromRight ? counted.map((row) => row.reverse()) : counted;
  if (upsideDown) laid.reverse();
  const numbers = new Set(laid.flat());
  const strange = left_out.some((number) => !numbers.has(number)) || new Set(left_out).size === numbers.size;
  return strange ? null : laid.map((row, place) => withoutLeftOut(rowName(place, laid.length), row, left_out));
}

/** The others keep their places: which ones stay empty, the first from the left 1, goes with the row. */
function withoutLeftOut(name: string, row: readonly string[], leftOut: readonly string[]): Row {
  const empty = row.flatMap((number, place) => (leftOut.includes(number) ? [place + 1] : []));
  return { name, contacts: row.filter((number) => !leftOut.includes(number)), left_out: empty };
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
