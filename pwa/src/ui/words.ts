/**
 * How the screens say things: choices by their id, lists of contacts, numbers, times, places.
 *
 * Decides: wording that holds no judgement. Leaves to others: verdicts and reasons (the engine's
 * sentences), the words of choices (the generated tables).
 */
import type { DisplayUnit, NextTouch, Place, Reading, Subject, Touch } from "../generated/models";
import tables from "../generated/tables.json";

type Choice = { id: string; words: string };

/** The words of one value of a choice; the id itself when the table does not know it (a newer app's). */
export function wordsOf(choices: readonly Choice[], id: string): string {
  return choices.find((choice) => choice.id === id)?.words ?? id.replaceAll("_", " ");
}

export function roleWords(role: string): string {
  return wordsOf(tables.roles, role);
}

/** "28", "28 and 30", "28, 30 and 32". */
export function listed(items: readonly string[]): string {
  if (items.length < 2) return items.join("");
  return `${items.slice(0, -1).join(", ")} and ${items[items.length - 1]}`;
}

/** "1 reading", "3 readings". */
export function counted(n: number, one: string, many = `${one}s`): string {
  return `${n} ${n === 1 ? one : many}`;
}

const UNIT_WORDS: Record<DisplayUnit, string> = {
  mV: "mV",
  V: "V",
  ohm: "ohm",
  kohm: "k ohm",
  Mohm: "M ohm",
  mA: "mA",
  A: "A",
};

export function unitWords(unit: DisplayUnit): string {
  return UNIT_WORDS[unit];
}

/** Whether what was typed is a bare number: OL has no unit, and "0.452 V" brings its own. */
export function isNumber(asTyped: string): boolean {
  return /^[-+]?[\d.,]+$/.test(asTyped.trim());
}

/** "451 mV", "OL", "10 k ohm": what was typed, never altered, with its unit where it is a number. */
export function typedWithUnit(reading: Pick<Reading, "as_typed" | "display_unit">): string {
  return isNumber(reading.as_typed)
    ? `${reading.as_typed} ${unitWords(reading.display_unit)}`
    : reading.as_typed;
}

/** For a screen reader: digits singly, so that 486 is never heard as 46; OL is "over". */
export function spokenNumber(asTyped: string): string {
  if (asTyped === tables.keypad.ol_text) return "over";
  return asTyped.replace(/[\d.]+/g, (digits) => [...digits].join(" ").replaceAll(".", "point"));
}

const PLACE_WORDS: Record<Place, string> = {
  spring: "spring",
  tail: "solder tail",
  pad: "pad after it",
  part_near: "near end of the part",
  part_far: "far end of the part",
  test_point: "test point",
};

const SUBJECT_WORDS: Record<Subject, string> = {
  board_socket: "board socket",
  cable_end: "cable end",
  module_plug: "module plug, unplugged",
};

export function placeWords(place: Place): string {
  return PLACE_WORDS[place];
}

export function subjectWords(subject: Subject): string {
  return SUBJECT_WORDS[subject];
}

/** The short name of a touch, huge on the reading screen: "26", "9–11", "F3", "TP4". */
export function touchName(touch: Touch): string {
  switch (touch.what) {
    case "contact":
      return touch.contact;
    case "between":
      return `${touch.contact_a}–${touch.contact_b}`;
    case "test_point":
      return touch.name;
    case "part_end":
    case "across_part":
      return touch.part;
    case "rail":
      return touch.net;
  }
}

/** What the probes do there, in words. */
export function touchWords(touch: Touch): string {
  switch (touch.what) {
    case "contact":
      return "contact to ground";
    case "between":
      return "a probe on each, clip off";
    case "test_point":
      return "test point to ground";
    case "part_end":
      return touch.end === "near" ? "end towards the socket" : "end away from the socket";
    case "across_part":
      return "a probe on each end";
    case "rail":
      return "rail to ground";
  }
}

const KIND_WORDS = { drop: "drop", ohms: "ohms", volts: "volts", draw: "draw" } as const;

export function kindWords(kind: NextTouch["kind"]): string {
  return KIND_WORDS[kind];
}

/** "in 10 s", "2 min": how long a touch takes, as one says it. */
export function secondsWords(seconds: number): string {
  return seconds < 90 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
}

/** Millivolts as a meter shows them: "3 mV", "0.02 V", "21.8 V". */
export function voltsWords(mv: number): string {
  const size = Math.abs(mv);
  if (size < 10) return `${Number(mv.toFixed(1))} mV`;
  return `${Number((mv / 1000).toFixed(size < 10_000 ? 2 : 1))} V`;
}

/** The clock time of today, the date of any other day. */
export function whenWords(ms: number, nowMs: number = Date.now()): string {
  const then = new Date(ms);
  if (then.toDateString() === new Date(nowMs).toDateString()) return clockWords(ms);
  return then.toLocaleDateString(undefined, { day: "numeric", month: "short" });
}

export function clockWords(ms: number): string {
  return new Date(ms).toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
}

/** Odds in tens, as they are said: "about 7 in 10", "under 1 in 20". */
export function tensWords(odds: number): string {
  if (odds < 0.05) return "under 1 in 20";
  if (odds > 0.95) return "over 19 in 20";
  return `about ${Math.round(odds * 10)} in 10`;
}
