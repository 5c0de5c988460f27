/** What is entered to close a job: the draft, the closing made of it, and the words said before. No judgement. */
import type { Closing, ClosingFacts, OptionKind, SaidBefore, Story, StoryKind, Tray, WasWrong } from "../generated/models";
import tables from "../generated/tables.json";
import type { ClosingState, NewClosing } from "../store/closings";
import { counted, listed, wordsOf } from "../ui/words";
import { plainNumber } from "./chance_words";

/** What was really wrong, as it stands in the draft: with the words it was chosen by. */
export interface Wrong {
  story: StoryKind;
  subject: string;
  words: string;
  /** Empty: not said yet. */
  how_known: NonNullable<WasWrong["how_known"]> | "";
}

export interface CloseDraft {
  wrong: Wrong[];
  never_found_out: boolean;
  did: OptionKind[];
  device: NonNullable<Closing["device"]>;
  data: NonNullable<Closing["data"]>;
  minutes: string;
  cost: string;
  parts: string;
  note: string;
  tray: Tray | "same";
  /** What it reads after the repair stands as a healthy board's; null: as the shop learns at all. */
  healthy: boolean | null;
}

export const closeDraftKey = (job: string): string => `close ${job}`;

export function emptyClose(tray: Tray): CloseDraft {
  return {
    wrong: [],
    never_found_out: false,
    did: [],
    device: "not_tried",
    data: "not_asked",
    minutes: "",
    cost: "",
    parts: "",
    note: "",
    tray: tray === "gone" || tray === "ready" ? "same" : "ready",
    healthy: null,
  };
}

/** A story that can be chosen by a touch: what the opinion had said, in its own words where they are at hand. */
export function saidChoices(said: readonly SaidBefore[], stories: readonly Story[]): Omit<Wrong, "how_known">[] {
  const titles = new Map<string, string>();
  for (const one of stories) {
    if (one.second != null && one.second_title != null) titles.set(one.second, one.second_title);
  }
  for (const one of stories) titles.set(`${one.kind} ${one.subject}`.trim(), one.title);
  const rows = new Map<string, Omit<Wrong, "how_known">>();
  for (const { story, subject = "" } of [...said].sort((a, b) => b.odds - a.odds)) {
    const name = `${story} ${subject}`.trim();
    if (!rows.has(name)) rows.set(name, { story, subject, words: titles.get(name) ?? wrongWords({ story, subject }) });
  }
  return [...rows.values()];
}

export function wrongWords({ story, subject = "" }: Pick<WasWrong, "story" | "subject">): string {
  const words = wordsOf(tables.closing.stories, story);
  return subject === "" ? words : `${words} (${subject})`;
}

/** What still keeps it from being a closing, as a sentence; null: nothing. */
export function closeLacks(draft: CloseDraft): string | null {
  if (draft.wrong.length === 0 && !draft.never_found_out) return 'Say what was really wrong, or "never found out".';
  const unsaid = draft.wrong.find(({ how_known }) => how_known === "");
  if (unsaid !== undefined) return `Say how it is known: ${unsaid.words}.`;
  for (const [text, what, most, example] of [
    [draft.minutes, "minutes of work", 1e6, "45"],
    [draft.cost, "the cost", 1e9, "120"],
  ] as const) {
    const value = plainNumber(text);
    if (value === undefined) return `"${text}" is no number for ${what}; for example ${example}.`;
    if (value !== null && value < 0) return `"${text}": ${what} cannot be below zero; for example ${example}.`;
    if (value !== null && value > most) return `"${text}" is too much for ${what}; for example ${example}.`;
  }
  return null;
}

/** `before`: closings that stand and that this one replaces; the odds stay those that were said first. */
export function closingOf(draft: CloseDraft, facts: ClosingFacts | null, before: readonly Closing[]): NewClosing {
  const first = before.find(({ said_before }) => (said_before?.length ?? 0) > 0);
  const said = first === undefined ? {} : { said_before: first.said_before ?? [] };
  const { healthy_readings: _, ...own } = facts ?? {};
  return {
    ...own,
    ...said,
    was_wrong: draft.never_found_out ? [] : wasWrong(draft.wrong),
    did: draft.did,
    device: draft.device,
    data: draft.data,
    work_min: plainNumber(draft.minutes) ?? null,
    whole_cost: plainNumber(draft.cost) ?? null,
    parts_replaced: draft.parts.split(",").flatMap((part) => (part.trim() === "" ? [] : [part.trim()])),
    note: draft.note.trim(),
    supersedes: before.map(({ id }) => id),
  };
}

/** Without the words; what is not said yet is only believed. */
export function wasWrong(wrong: readonly Wrong[]): WasWrong[] {
  return wrong.map(({ story, subject, how_known }) => ({ story, subject, how_known: how_known === "" ? "believed" : how_known }));
}

/** Of closings that differ the one that holds, as a closing of its own that names them all. */
export function holdingOf(holds: Closing, standing: readonly Closing[]): NewClosing {
  const { id: _id, job_id: _job, closed_at_ms: _at, closed_by: _by, v: _v, ...kept } = holds;
  return { ...kept, supersedes: standing.map(({ id }) => id) };
}

/** What is said before a job is closed; empty: nothing stands in its way. Nothing of it forbids closing. */
export function beforeClosing(state: ClosingState, noFacts: string | null): string[] {
  const said: string[] = [];
  if (state.readings_waiting > 0) {
    const one = state.readings_waiting === 1;
    said.push(
      `${counted(state.readings_waiting, "reading")} of this job ${one ? "is" : "are"} still on the way to the shop. Nothing is lost: ${one ? "it goes on, and the closing goes after it" : "they go on, and the closing goes after them"}.`,
    );
  }
  if (state.readings_refused > 0) {
    said.push(
      `${counted(state.readings_refused, "reading")} of this job ${state.readings_refused === 1 ? "was" : "were"} refused by the shop and ${state.readings_refused === 1 ? "stays" : "stay"} on this phone only: look at why first.`,
    );
  }
  if (noFacts !== null) said.push(`No opinion could be formed (${noFacts}): the closing will hold no odds to be judged by.`);
  else if (state.opinion_behind === null) said.push("Nobody has looked at an opinion on this job yet.");
  return said;
}

/** "a bridge between two contacts (9-11), measured" and what was done, as one looks back at it. */
export function closingLines(closing: Closing): string[] {
  const wrong = (closing.was_wrong ?? []).map((one) => `${wrongWords(one)}, ${wordsOf(tables.closing.how_known, one.how_known ?? "believed")}`);
  const did = (closing.did ?? []).map((one) => wordsOf(tables.closing.did, one));
  return [
    wrong.length === 0 ? "Never found out what was wrong." : `Was wrong: ${wrong.join("; ")}.`,
    ...(did.length === 0 ? [] : [`Done: ${listed(did)}.`]),
    `The device ${wordsOf(tables.closing.device, closing.device ?? "not_tried")}; the data: ${wordsOf(tables.closing.data, closing.data ?? "not_asked")}.`,
  ];
}
