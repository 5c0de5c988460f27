/** Asks the engine what can be known before the work; nothing of it is kept. */
import type { EngineBridge } from "../engine_worker/bridge";
import type { About } from "../engine_worker/protocol";
import type { Discharge, DischargeQuestion, OverstressMap, OverstressQuestion } from "../generated/models";

/** How such a question ended. `overtaken`: a newer one took its place. */
export type BenchAnswer<T> = { is: "formed"; answer: T } | { is: "overtaken" } | { is: "failed"; why: string };

export interface BenchDoors {
  /** For every way a plug can sit wrong and every state: who meets what. */
  askOverstress(question: OverstressQuestion): Promise<BenchAnswer<OverstressMap>>;
  /** How a stored charge falls, and when each limit is reached. */
  askDischarge(question: DischargeQuestion): Promise<BenchAnswer<Discharge>>;
}

export function benchDoors(bridge: EngineBridge): BenchDoors {
  return {
    askOverstress: (question) => askEngine<OverstressMap>(bridge, "overstress", question),
    askDischarge: (question) => askEngine<Discharge>(bridge, "discharge", question),
  };
}

/** One question at one of the engine's doors, JSON both ways. */
export async function askEngine<T>(bridge: EngineBridge, about: About, question: unknown): Promise<BenchAnswer<T>> {
  const answer = await bridge.ask(new TextEncoder().encode(JSON.stringify(question)), about);
  if (answer.is !== "formed") return answer;
  return { is: "formed", answer: JSON.parse(new TextDecoder().decode(answer.opinion)) as T };
}
