/** A temperature as typed: degrees Celsius with a point or a comma; nothing typed is null. Throws a sentence. */
export function celsius(text: string): number | null {
  const plain = text.trim().replace(",", ".");
  if (plain === "") return null;
  const air = Number(plain);
  // the record takes what any air can be; what no bench has is asked about by the engine
  if (Number.isFinite(air) && air >= -60 && air <= 120) return air;
  throw new Error(`"${text}" is not a temperature in °C; for example 23.`);
}
