/**
 * Numbers that the record does not take, found before they are kept: the shop would refuse them, and every opinion that
 * rests on them would fail. The bounds are the Structs' own (`shared_models/limits.py`); screens have better words.
 */
import type { Body, NumberLimit } from "../generated/models";
import tables from "../generated/tables.json";

const LIMITS = tables.number_limits as unknown as Record<string, readonly NumberLimit[]>;

/** What is wrong with the first number beyond its bounds, in words; null: nothing. */
export function outOfBounds(body: Body): string | null {
  if (body.what === "removed") return null;
  const given = body.what === "added" ? body.record : body.fields;
  for (const limit of LIMITS[body.kind] ?? []) {
    const wrong = numbersAt(given, limit.at.split(".")).find((value) => isBeyond(value, limit));
    if (wrong !== undefined) return `${limit.at}: ${wrong} is not kept; it takes ${boundsWords(limit)}.`;
  }
  return null;
}

/** Every number at these fields; a list on the way is gone through. */
function numbersAt(given: unknown, fields: readonly string[]): number[] {
  if (Array.isArray(given)) return given.flatMap((one) => numbersAt(one, fields));
  const [field, ...rest] = fields;
  if (field === undefined) return typeof given === "number" ? [given] : [];
  return typeof given === "object" && given !== null ? numbersAt((given as Record<string, unknown>)[field], rest) : [];
}

function isBeyond(value: number, { over, least, most }: NumberLimit): boolean {
  return (over != null && value <= over) || (least != null && value < least) || (most != null && value > most);
}

/** "0 to 1000000", "more than 0, at most 100". */
function boundsWords({ over, least, most }: NumberLimit): string {
  const upTo = most == null ? "" : `at most ${most}`;
  if (over != null) return [`more than ${over}`, upTo].filter((one) => one !== "").join(", ");
  return least == null ? upTo : most == null ? `${least} and more` : `${least} to ${most}`;
}
