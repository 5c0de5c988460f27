/** What can be seen of a board, in words, in the order a technician looks: eye, hand, torch, supply. */
import type { Observation } from "../generated/models";
import { listed } from "../ui/words";

type Seen = Observation["seen"];

export const SEEN_WORDS: Record<Seen, string> = {
  burnt: "burnt",
  bent: "bent",
  lifted: "pad or contact lifted",
  wet: "wet or corroded",
  bridged: "bridged",
  missing: "part missing",
  clean: "clean and dry",
  changes_when_pressed: "changes when pressed",
  hot: "hot",
  reads_below_zero: "meter shows a minus",
  torch_shows_picture: "torch shows a picture",
  torch_shows_nothing: "torch shows no picture",
  draw_none: "draws nothing",
  draw_at_limit: "limit reached",
  draw_low_steady: "little and steady, does not rise",
  draw_in_steps: "rises in steps and falls back",
  draw_as_healthy: "draws as a healthy one",
  charred: "board charred or blistered",
  corroded_under_chip: "corroded under the chip with the data",
  lift_failed: "a lift failed",
  cell_swollen: "cell swollen or punctured",
};

export const GROUPS: readonly { title: string; seen: readonly Seen[] }[] = [
  { title: "With the eye", seen: ["burnt", "bent", "lifted", "wet", "bridged", "missing", "clean"] },
  { title: "By hand, with the meter", seen: ["changes_when_pressed", "hot", "reads_below_zero"] },
  { title: "With a torch", seen: ["torch_shows_picture", "torch_shows_nothing"] },
  { title: "At the supply", seen: ["draw_none", "draw_at_limit", "draw_low_steady", "draw_in_steps", "draw_as_healthy"] },
];

export function byDraw(seen: Seen): boolean {
  return seen.startsWith("draw_");
}

/** Milliamperes typed; null for an empty field, undefined for what is no current. */
export function milliamps(text: string): number | null | undefined {
  const plain = text.trim().replace(",", ".");
  if (plain === "") return null;
  const value = Number(plain);
  return Number.isFinite(value) && value >= 0 && value <= 1e6 ? value : undefined;
}

/** Where it was seen: contacts, part, plug; or the supply's number and limit. */
export function placeWords(one: Observation): string {
  const where = [
    one.contacts?.length ? listed(one.contacts) : "",
    one.part ?? "",
    one.draw_ma == null ? "" : `${one.draw_ma} mA`,
    one.limit_ma == null ? "" : `limit ${one.limit_ma} mA`,
  ].filter((text) => text !== "");
  const plug = one.subject === "module_plug" ? " on the plug" : "";
  return `${plug}${where.length > 0 ? `: ${where.join(", ")}` : ""}`;
}

/** "bent on the plug: 28 and 30". */
export function observationWords(one: Observation): string {
  return `${SEEN_WORDS[one.seen]}${placeWords(one)}`;
}
