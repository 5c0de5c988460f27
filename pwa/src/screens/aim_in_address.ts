/**
 * A touch that was chosen elsewhere ("Measure" on the opinion, the anchors) travels in the address, so
 * that it survives a reload. What is not understood is no aim: the reading screen then goes its way.
 */
import type { Aim } from "../bench/plan";
import { aimsOf, plainAim } from "../bench/plan";
import type { NextTouch, Touch } from "../generated/models";

const TOUCHES: readonly Touch["what"][] = ["contact", "between", "test_point", "part_end", "across_part", "rail"];

export function nextInQuery(next: NextTouch): Record<string, string> {
  const { touch, kind, subject, place, lead_on_ground, run, title } = next;
  return { next: JSON.stringify({ touch, kind, subject, place, lead_on_ground, run, title }) };
}

function isNextTouch(value: unknown): value is NextTouch {
  if (typeof value !== "object" || value === null) return false;
  const { touch, kind, run } = value as Partial<NextTouch>;
  return (
    typeof touch === "object" &&
    TOUCHES.includes(touch.what) &&
    ["drop", "ohms", "volts", "draw"].includes(kind ?? "") &&
    (run === undefined || Array.isArray(run))
  );
}

export function aimsInQuery(query: URLSearchParams, known: ReadonlySet<string>): Aim[] {
  const contacts = (query.get("contacts") ?? "").split(",").filter((contact) => known.has(contact));
  if (contacts.length > 0) return contacts.map((contact) => plainAim(contact, "red"));
  const text = query.get("next");
  if (text === null) return [];
  try {
    const value: unknown = JSON.parse(text);
    return isNextTouch(value) ? aimsOf({ ...value, title: value.title ?? "" }) : [];
  } catch {
    return [];
  }
}
