/**
 * Numbers that are not plain millivolts (ohms at a plug, volts at a test point): digits and a point
 * are typed, and the key with the unit takes them. Nothing commits by itself here.
 */
import type { DisplayUnit, ReadingKind } from "../generated/models";

const UNITS: Record<ReadingKind, readonly DisplayUnit[]> = {
  drop: ["mV", "V"],
  ohms: ["ohm", "kohm", "Mohm"],
  volts: ["mV", "V"],
  draw: ["mA", "A"],
};

/** The units a display may show for this kind; each has its key. */
export function unitsOf(kind: ReadingKind): readonly DisplayUnit[] {
  return UNITS[kind];
}

const LONGEST = 6;

/** What is typed after one more key: a digit, or a point where there is none yet. */
export function typed(before: string, key: string): string {
  if (before.length >= LONGEST) return before;
  if (key === ".") return before.includes(".") ? before : `${before === "" ? "0" : before}.`;
  return before === "0" ? key : before + key;
}

/** Whether it is a number a unit can be put to. */
export function isWhole(text: string): boolean {
  return /^\d+(\.\d+)?$/.test(text);
}
