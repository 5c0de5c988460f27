/**
 * The make-safe gate: whether readings may be taken, from the generated table of steps alone, so that
 * it holds before the engine is up. The engine repeats it; `tests/vectors/gate` hold both equal.
 *
 * A step applies when it names no roles or the socket has a contact of one of them. The newest proof
 * of a step counts (by `proved_at_ms`, then id). "hand" passes by `done`; "meter" by
 * `abs(measured_mv) <= limit_mv` at a named place; a reason passes where the step may be waived.
 */
import type { MakeSafeProof, MakeSafeStep, Role } from "../generated/models";
import type { GateState, GateStep } from "./door";

/** `steps` is the generated table; `roles` those of the socket's contacts, corrections applied. */
export function gate(
  steps: readonly MakeSafeStep[],
  roles: readonly Role[],
  proofs: readonly MakeSafeProof[],
): GateState {
  const applying = steps.filter((step) => applies(step, roles));
  const judged = applying.map((step): GateStep => {
    const proof = newest(proofs.filter((each) => each.step === step.id));
    return { step, proof, passed: proof !== null && passes(step, proof) };
  });
  const waits_for = judged.filter(({ step, passed }) => step.required && !passed).map(({ step }) => step.id);
  return { open: waits_for.length === 0, waits_for, steps: judged };
}

function applies(step: MakeSafeStep, roles: readonly Role[]): boolean {
  const for_roles = step.for_roles ?? [];
  return for_roles.length === 0 || for_roles.some((role) => roles.includes(role));
}

function newest(proofs: readonly MakeSafeProof[]): MakeSafeProof | null {
  let best: MakeSafeProof | null = null;
  for (const proof of proofs) {
    if (
      best === null ||
      proof.proved_at_ms > best.proved_at_ms ||
      (proof.proved_at_ms === best.proved_at_ms && proof.id > best.id)
    ) {
      best = proof;
    }
  }
  return best;
}

function passes(step: MakeSafeStep, proof: MakeSafeProof): boolean {
  if (step.waivable && hasText(proof.waived_because)) return true;
  if (step.proved_by === "hand") return proof.done === true;
  // without a limit in the table nothing can be proved, so the step stays shut
  const { measured_mv } = proof;
  if (measured_mv == null || step.limit_mv == null) return false;
  return Math.abs(measured_mv) <= step.limit_mv && hasText(proof.at_place);
}

function hasText(text: string | null | undefined): boolean {
  return text != null && text.trim() !== "";
}
