/**
 * The keypad's grammar as a pure step: what is typed so far and a key give what is typed next and
 * what is to be done. The grammar itself (which digits commit, what starts a long number) is data.
 *
 * Decides: when a number is whole. Leaves to others: what it means (the engine) and keeping it.
 */
import type { Keypad, KeypadKey } from "../generated/models";
import tables from "../generated/tables.json";

export const KEYPAD = tables.keypad as Keypad;

/** Digits typed and not yet taken; `long` once a four-digit number was started. */
export interface Pending {
  digits: string;
  long: boolean;
}

export const NOTHING: Pending = { digits: "", long: false };

export type Act =
  | { does: "none" }
  /** A reading: what was typed, and whether it was said to climb. */
  | { does: "take"; text: string; climbs: boolean }
  | { does: "mark_last_climbs" }
  | { does: "undo_last" }
  | { does: "other_lead" }
  | { does: "stop" };

export interface Step {
  pending: Pending;
  act: Act;
}

const NONE: Act = { does: "none" };

function done(act: Act): Step {
  return { pending: NOTHING, act };
}

function taken(text: string, climbs = false): Step {
  return done({ does: "take", text, climbs });
}

function withDigit(pending: Pending, digit: string, long: boolean): Step {
  const next: Pending = { digits: pending.digits + digit, long };
  const whole = next.long ? KEYPAD.long_digits : KEYPAD.commits_at_digits;
  return next.digits.length >= whole ? taken(next.digits) : { pending: next, act: NONE };
}

/** One press. `held`: the key was held for `KEYPAD.hold_ms` or more. */
export function press(pending: Pending, key: Pick<KeypadKey, "does" | "digit">, held = false): Step {
  const waits = pending.digits !== "";
  switch (key.does) {
    case "digit": {
      const digit = key.digit ?? "";
      const startsLong = held && !waits && KEYPAD.long_from.includes(digit);
      return withDigit(pending, digit, pending.long || startsLong);
    }
    case "take_zero_or_digit":
      return waits || pending.long ? withDigit(pending, "0", pending.long) : taken("0");
    case "take_ol":
      return taken(KEYPAD.ol_text);
    case "out_of_reach":
      return taken(KEYPAD.out_of_reach_text);
    case "climbs":
      return waits ? taken(pending.digits, true) : done({ does: "mark_last_climbs" });
    case "take":
      return waits ? taken(pending.digits) : { pending, act: NONE };
    case "stop":
      return waits ? taken(pending.digits) : done({ does: "stop" });
    case "undo":
      if (waits) return { pending: { digits: pending.digits.slice(0, -1), long: pending.long && pending.digits.length > 1 }, act: NONE };
      return pending.long ? done(NONE) : done({ does: "undo_last" });
    case "other_lead":
      return done({ does: "other_lead" });
  }
}

/** The key that starts a four-digit number from a number pad. */
export function pressLong(pending: Pending): Step {
  return pending.digits === "" ? { pending: { digits: "", long: true }, act: NONE } : { pending, act: NONE };
}

/** The key of the pad that a key of the keyboard, number pad or pedal presses; null: not ours. */
export function keyFor(name: string): KeypadKey | null {
  return KEYPAD.keys.find((key) => key.keys?.includes(name) === true) ?? null;
}

/** What the fourth key of the last row says now: it stops, or takes what waits. */
export function stopLabel(pending: Pending): string {
  return pending.digits === "" ? "stop" : `take ${pending.digits}`;
}
