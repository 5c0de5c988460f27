/**
 * A measured voltage as typed on the make-safe screen. It is a proof, not a reading: the gate must
 * hold before the engine is up, so the phone itself turns these few numbers into millivolts.
 */
import type { BoardVersion, MakeSafeStep } from "../generated/models";

export type VoltUnit = "V" | "mV";

/** No board and no bench supply has more; the record takes no more. */
export const MOST_MV = 1_000_000;

/** "0,02" V is 20; null when it is not a plain number. A sign is kept: a rail can sit below ground. */
export function toMillivolts(text: string, unit: VoltUnit): number | null {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (!/^-?(\d+\.?\d*|\.\d+)$/.test(plain)) return null;
  return Number(plain) * (unit === "V" ? 1000 : 1);
}

/** Where the board's record says such a voltage is measured; empty: it does not say. */
export function namedPlace(step: MakeSafeStep, board: BoardVersion | null): string {
  const led = step.for_roles?.includes("led_plus") === true;
  const net = board?.nets?.find((one) => one.proof_at != null && one.rail_kind === (led ? "backlight" : "main"));
  return net?.proof_at ?? "";
}
