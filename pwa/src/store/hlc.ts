/**
 * Hybrid logical time: sortable text "milliseconds-counter" that never runs backwards on this phone
 * and is always after everything this phone has seen.
 *
 * Decides: the next stamp. Leaves to others: keeping the last one on disk (`write.ts`, in the same
 * transaction as the change that carries it) and which of two stamps wins (`apply.ts`).
 */

/** How far ahead of the wall clock another device's stamp may pull this one. */
export const MAX_AHEAD_MS = 5 * 60_000;

const MS_DIGITS = 15;
const COUNTER_DIGITS = 5;
const COUNTER_END = 10 ** COUNTER_DIGITS;

export const HLC_ZERO = print(0, 0);

function print(ms: number, counter: number): string {
  return `${String(ms).padStart(MS_DIGITS, "0")}-${String(counter).padStart(COUNTER_DIGITS, "0")}`;
}

function parse(hlc: string): { ms: number; counter: number } {
  return { ms: Number(hlc.slice(0, MS_DIGITS)), counter: Number(hlc.slice(MS_DIGITS + 1)) };
}

/** The milliseconds of a stamp. */
export function msOf(hlc: string): number {
  return parse(hlc).ms;
}

/** The stamp after `last` at wall-clock time `now_ms`. */
export function tick(last: string, now_ms: number): string {
  const { ms, counter } = parse(last);
  if (now_ms > ms) return print(now_ms, 0);
  // a full counter borrows a millisecond; the wall clock catches up
  return counter + 1 < COUNTER_END ? print(ms, counter + 1) : print(ms + 1, 0);
}

/**
 * `last` once another device's `seen` stamp is known: the later of the two, but never more than
 * `MAX_AHEAD_MS` ahead of `now_ms`, so that one phone with a wrong clock does not drag the others along.
 */
export function witness(last: string, seen: string, now_ms: number): string {
  const bound = print(now_ms + MAX_AHEAD_MS, 0);
  const accepted = seen > bound ? bound : seen;
  return accepted > last ? accepted : last;
}

/**
 * Wall-clock time as the shop's server has it: a phone whose clock is off by more than
 * `MAX_AHEAD_MS` would otherwise win, or lose, every edit of a field.
 */
export function shopTime(now_ms: number, clock_off_ms: number | null): number {
  return now_ms - (clock_off_ms ?? 0);
}
