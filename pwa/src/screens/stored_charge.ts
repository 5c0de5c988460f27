/**
 * What the engine is asked about a place that is over its limit: the last two numbers measured there,
 * and what the board's record knows of it. Which number ends it is the gate's and the engine's to say.
 */
import type { BoardVersion, DischargeQuestion, MakeSafeProof, MakeSafeStep, Net } from "../generated/models";
import { engineProblem } from "../store/engine_words";
import { ohms } from "./ohms";
import { toMillivolts } from "./volts";

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

/** What can be typed about a charge: the field, its words, an entry that works, and what the engine calls it. */
export const CHARGE_FIELDS = [
  { id: "start", words: "Start, volts", example: "21.8", asks: "start_mv" },
  { id: "uf", words: "Capacitance, µF", example: "4.7", asks: "capacitance_uf" },
  { id: "bleed", words: "Bleed, ohms", example: "1.5M", asks: "bleed_ohm" },
  { id: "leds", words: "LEDs in a string", example: "10", asks: "led_count" },
  { id: "again", words: "Measured again, volts", example: "2.1", asks: "later.measured_mv" },
  { id: "after", words: "Seconds between", example: "60", asks: "later.after_s" },
] as const;
export type ChargeField = (typeof CHARGE_FIELDS)[number]["id"];
export type TypedCharge = Record<ChargeField, string>;

/** An entry that cannot be: the field it stands in, and a sentence with an entry that works. */
export interface WrongEntry {
  field: ChargeField | null;
  sentence: string;
}

/** The rails of a board that can hold a charge, the light's first. */
export function storingNets(board: BoardVersion | null): Net[] {
  const nets = (board?.nets ?? []).filter((net) => net.stores_charge === true || net.stored_uf != null);
  return [...nets].sort((a, b) => Number(b.rail_kind === "backlight") - Number(a.rail_kind === "backlight"));
}

/** Ohms as one types them: 5.53M, 22k, 470. */
function ohmsText(ohm: number | null | undefined): string {
  if (ohm == null) return "";
  if (ohm >= 1e6) return `${ohm / 1e6}M`;
  return ohm >= 1000 ? `${ohm / 1000}k` : String(ohm);
}

/** What a board's record knows of a rail, as it would be typed; empty where it does not know. */
export function chargeOf(net: Net | null): TypedCharge {
  const mv = net?.working_mv;
  const text = (value: number | null | undefined): string => (value == null ? "" : String(value));
  return {
    start: mv == null ? "" : String(mv / 1000), uf: text(net?.stored_uf), bleed: ohmsText(net?.bleed_ohm),
    leds: text(net?.led_count), again: "", after: "",
  };
}

/** Two places at least: the main rail, and the capacitor that is fed through it. */
export function placesToProve(board: BoardVersion | null, net: Net | null): string[] {
  const nets = board?.nets ?? [];
  const named = (words: string, one: Net | undefined): string => `${words}${one?.proof_at ? ` (${one.proof_at})` : ""}`;
  const main = named("the main rail", nets.find((one) => one.rail_kind === "main"));
  const light = nets.find((one) => one.rail_kind === "backlight");
  if (net === null || net.rail_kind === "main" || net.rail_kind === "backlight") return [main, named("the LED capacitor", light)];
  return [main, named(net.name, net)];
}

/** The typed fields as a question; what is no number is a wrong entry. What can be, the engine says. */
export function typedQuestion(typed: TypedCharge, places: string[]): DischargeQuestion | WrongEntry {
  const number = (text: string): number => {
    const plain = text.trim().replace(",", ".").replace("−", "-");
    return plain === "" ? Number.NaN : Number(plain);
  };
  const read: Record<ChargeField, (text: string) => number> = {
    start: (text) => toMillivolts(text, "V") ?? Number.NaN,
    again: (text) => toMillivolts(text, "V") ?? Number.NaN,
    uf: number, bleed: ohms, leds: number, after: number,
  };
  const values = {} as Record<ChargeField, number | null>;
  for (const { id, words, example } of CHARGE_FIELDS) {
    const text = typed[id].trim();
    values[id] = text === "" ? null : read[id](text);
    if (values[id] !== null && !Number.isFinite(values[id])) {
      return { field: id, sentence: `${words}: "${text}" is not a number; for example ${example}.` };
    }
    if (id === "leds" && values.leds !== null && !Number.isInteger(values.leds)) {
      return { field: id, sentence: `${words}: "${text}" is not a whole number of LEDs; for example ${example}.` };
    }
  }
  if (values.start === null) return { field: "start", sentence: "Start, volts: type what the meter shows there; for example 21.8." };
  if ((values.again === null) !== (values.after === null)) {
    const field = values.again === null ? "again" : "after";
    const { words, example } = CHARGE_FIELDS.find(({ id }) => id === field)!;
    return { field, sentence: `${words}: a second measurement needs its volts and its seconds; for example ${example}.` };
  }
  return {
    start_mv: values.start, capacitance_uf: values.uf, bleed_ohm: values.bleed, led_count: values.leds, places,
    later: values.again === null ? null : { measured_mv: values.again, after_s: values.after! },
  };
}

/** The engine's refusal in the words of the field it means. */
export function refusedEntry(why: string, typed: TypedCharge): WrongEntry {
  const [, where, expected = ""] = /^([\w.]+): .*; expected (.*); example: /s.exec(why.replace(/^[\w.]*Error: /, "")) ?? [];
  const field = CHARGE_FIELDS.find(({ asks }) => asks === where);
  if (field === undefined) return { field: null, sentence: engineProblem(why).sentence };
  const said = expected.replace(/^.*millivolts: /, "");
  return { field: field.id, sentence: `${field.words}: "${typed[field.id].trim()}" cannot be; expected ${said}, for example ${field.example}.` };
}
