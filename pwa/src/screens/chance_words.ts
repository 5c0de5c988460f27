/** How chances, hours and costs are said; what they are is the engine's. */
import type { Chance, Option, Options } from "../generated/models";

/** "between 7 and 9 in 10", "8 in 10 or more": the interval in whole tens; "" where both ends are one ten. */
export function betweenWords({ low, high }: Chance): string {
  const [least, most] = [Math.round(low * 10), Math.round(high * 10)];
  if (least === most) return "";
  if (least === 0 && most === 10) return "nobody can tell yet";
  if (most === 10) return `${least} in 10 or more`;
  return least === 0 ? `${most} in 10 or less` : `between ${least} and ${most} in 10`;
}

/** "1.5 h" or "30 min". */
export function hoursWords(hours: number): string {
  return hours < 1 ? `${Math.round(hours * 60)} min` : `${Number(hours.toFixed(1))} h`;
}

/** The cost in the shop's currency; null while the shop has no figures for it. */
export function costWords(option: Option, options: Options): string | null {
  if (option.whole_cost == null) return null;
  return `${Number(option.whole_cost.toFixed(2))} ${options.currency ?? ""}`.trim();
}

export const UNDONE_WORDS: Record<NonNullable<Option["undone"]>, string> = {
  yes: "can be undone",
  in_part: "can be undone in part",
  no: "cannot be undone",
};

/** A number typed into a field of costs or hours: null for an empty one, undefined for what is none. */
export function plainNumber(text: string): number | null | undefined {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (plain === "") return null;
  return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : undefined;
}
