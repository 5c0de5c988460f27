/** Ohms as typed: 470, 470R, 4.7k, 4k7, 1M; NaN for what is none. */
const TIMES: Record<string, number> = { "": 1, r: 1, k: 1e3, m: 1e6 };

export function ohms(text: string): number {
  const plain = text.trim().toLowerCase().replace(",", ".").replace(/\s*(ohms?|ω)$/, "").replace(/\s+/g, "");
  const found = /^(-?\d*\.?\d*)([rkm]?)(\d*)$/.exec(plain);
  const [, whole = "", unit = "", after = ""] = found ?? [];
  if (found === null || whole + after === "" || (after !== "" && (unit === "" || whole.includes(".")))) return Number.NaN;
  return Number((Number(after === "" ? whole : `${whole === "" ? 0 : whole}.${after}`) * (TIMES[unit] ?? 1)).toPrecision(12));
}
