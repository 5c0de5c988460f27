/** Which meters may go on a socket. The limit and its reason are the shop's table; the engine holds the same ones. */
import tables from "../generated/tables.json";
import type { WholeMeter } from "../store/door";

/** Why this meter never goes on a board's socket, as a sentence; null: it may. */
export function whyNotOnSockets(meter: Pick<WholeMeter, "name" | "open_circuit_mv">): string | null {
  const { open_circuit_mv } = meter;
  if (open_circuit_mv == null || open_circuit_mv <= tables.diode_mode_max_mv) return null;
  return `${meter.name} puts ${(open_circuit_mv / 1000).toFixed(1)} V on its leads in diode mode; ${tables.diode_mode_why}`;
}

/** The meters that may, in their order. */
export function forSockets<M extends Pick<WholeMeter, "name" | "open_circuit_mv">>(meters: readonly M[]): M[] {
  return meters.filter((meter) => whyNotOnSockets(meter) === null);
}

/** The meter in hand: the one chosen if it may go on a socket, else the first that may. */
export function inHand<M extends Pick<WholeMeter, "id" | "name" | "open_circuit_mv">>(
  meters: readonly M[] | undefined,
  chosen: string | null,
): M | undefined {
  const fit = forSockets(meters ?? []);
  return fit.find((meter) => meter.id === chosen) ?? fit[0];
}
