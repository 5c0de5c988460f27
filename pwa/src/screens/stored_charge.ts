/**
 * What the engine is asked about a place that is over its limit: the last two numbers measured there,
 * and what the board's record knows of it. Which number ends it is the gate's and the engine's to say.
 */
import type { BoardVersion, DischargeQuestion, MakeSafeProof, MakeSafeStep } from "../generated/models";

export function dischargeQuestion(
  step: MakeSafeStep,
  board: BoardVersion | null,
  proofs: readonly MakeSafeProof[],
): DischargeQuestion | null {
  const measured = proofs
    .filter((proof) => proof.step === step.id && proof.measured_mv != null)
    .sort((a, b) => a.proved_at_ms - b.proved_at_ms || (a.id < b.id ? -1 : 1));
  const last = measured.at(-1);
  if (last?.measured_mv == null) return null;
  const before = measured.at(-2);
  const led = step.for_roles?.includes("led_plus") === true;
  const nets = board?.nets ?? [];
  const main = nets.find((net) => net.rail_kind === "main");
  const net = nets.find((one) => one.rail_kind === (led ? "backlight" : "main"));
  const seconds = before === undefined ? 0 : (last.proved_at_ms - before.proved_at_ms) / 1000;
  // a number of another place says nothing of this one, nor one from yesterday
  const pair = before?.measured_mv != null && before.at_place === last.at_place && seconds > 0 && seconds <= HOUR_S;
  const own = last.at_place ?? "";
  return {
    start_mv: pair ? before.measured_mv! : last.measured_mv,
    later: pair ? { after_s: seconds, measured_mv: last.measured_mv } : null,
    capacitance_uf: net?.stored_uf ?? null,
    bleed_ohm: net?.bleed_ohm ?? null,
    led_count: net?.led_count ?? null,
    places: led ? [`the main rail${main?.proof_at ? ` (${main.proof_at})` : ""}`, `the LED capacitor (${own})`] : [],
  };
}

const HOUR_S = 3600;
