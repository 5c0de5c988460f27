/** The rows of a socket that is typed in: counted, or listed one by one; or the sentence that says what was expected. Pure. */
import { rowsOf } from "../bench/numbering";
import type { Row } from "../generated/models";
import type { HandSocket } from "./hand_board";

const MAX_ROW = 400;
const MAX_ROWS = 8;
const NUMBER = /^[A-Za-z0-9]{1,8}$/;

type Laid = { rows: Row[] } | { lacks: string };

/** The rows as they lie, or the sentence that says what was expected. */
export function layOut(draft: HandSocket): Laid {
  return draft.order === "as_listed" ? listed(draft.rows_listed) : counted({ ...draft, order: draft.order });
}

function counted(draft: HandSocket & { order: Exclude<HandSocket["order"], "as_listed"> }): Laid {
  const lengths = draft.row_lengths.split(/[^0-9]+/).filter((text) => text !== "").map(Number);
  const odd = /[^0-9 ,;+x/]/.test(draft.row_lengths);
  if (odd || lengths.length === 0 || lengths.length > MAX_ROWS || lengths.some((length) => length < 1 || length > MAX_ROW)) {
    const given = draft.row_lengths.trim() === "" ? "nothing" : `"${draft.row_lengths}"`;
    return { lacks: `Contacts in each row, from the top: ${given} is no list of 1 to ${MAX_ROWS} numbers; for example 17, 17.` };
  }
  const { order, pin_one, lettered, from_other_side } = draft;
  const numbering = { row_lengths: lengths, order, pin_one, lettered, from_other_side };
  const whole = rowsOf(numbering);
  if (whole === null) {
    return { lacks: `Odd and even numbers do not fit into rows of ${lengths.join(" and ")}: two rows are expected, equal, or the one with contact 1 longer by one; for example 10, 9.` };
  }
  const leftOut = spread(draft.left_out);
  const numbers = whole.flatMap((row) => [...row.contacts]);
  const stranger = typeof leftOut === "string" ? leftOut : leftOut.find((one) => !numbers.includes(one));
  if (stranger !== undefined) return { lacks: `Left out: "${stranger}" is no contact of these rows; for example 59-66, 12.` };
  const rows = rowsOf({ ...numbering, left_out: leftOut as string[] });
  return rows === null ? { lacks: "Left out: every contact is, and at least one has to stay; for example 59-66." } : { rows };
}

/** "59-66, 12" as numbers; the piece that is none as a text. */
function spread(text: string): string[] | string {
  const numbers: string[] = [];
  for (const piece of text.split(/[\s,;]+/).filter((one) => one !== "")) {
    const range = /^([A-Za-z]?)(\d{1,4})[-–]\1(\d{1,4})$/.exec(piece);
    const [from, to] = [Number(range?.[2]), Number(range?.[3])];
    if (range !== null && from <= to) {
      for (let number = from; number <= to; number += 1) numbers.push(`${range[1]}${number}`);
    } else if (NUMBER.test(piece)) numbers.push(piece);
    else return piece;
  }
  return [...new Set(numbers)];
}

function listed(text: string): Laid {
  const example = "for example outer: 1 3 _ 7, one line a row";
  const lines = text.split("\n").map((line) => line.trim()).filter((line) => line !== "");
  if (lines.length === 0 || lines.length > MAX_ROWS) return { lacks: `The rows as listed: 1 to ${MAX_ROWS} lines are expected; ${example}.` };
  const rows: Row[] = [];
  const seen = new Set<string>();
  for (const [place, line] of lines.entries()) {
    const colon = line.indexOf(":");
    const name = colon < 0 ? plainName(place, lines.length) : line.slice(0, colon).trim();
    const places = line.slice(colon + 1).split(/[\s,;]+/).filter((one) => one !== "");
    const contacts = places.filter((one) => one !== "_");
    const wrong = contacts.find((one) => !NUMBER.test(one));
    if (wrong !== undefined) return { lacks: `Row ${place + 1} as listed: "${wrong}" is no contact number; ${example}.` };
    const twice = contacts.find((one, index) => seen.has(one) || contacts.indexOf(one) !== index);
    if (twice !== undefined) return { lacks: `Row ${place + 1} as listed: contact ${twice} stands twice; each stands once, ${example}.` };
    if (contacts.length === 0 || places.length > MAX_ROW) return { lacks: `Row ${place + 1} as listed: 1 to ${MAX_ROW} places are expected; ${example}.` };
    for (const one of contacts) seen.add(one);
    rows.push({ name, contacts, left_out: places.flatMap((one, index) => (one === "_" ? [index + 1] : [])) });
  }
  return { rows };
}

function plainName(place: number, of: number): string {
  if (of === 1) return "";
  if (of === 2) return place === 0 ? "upper" : "lower";
  return `row ${place + 1}`;
}
