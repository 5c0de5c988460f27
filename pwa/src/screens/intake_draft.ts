/** What is typed at the counter before it is a job: the draft, and the job's fields made of it. */
import type { BoardVersion, DataMatters, Symptom, WhatHappened } from "../generated/models";
import type { JobFields } from "../store/door";

export const INTAKE_DRAFT = "take-in";

export interface IntakeDraft {
  title: string;
  board: string | null;
  socket: string | null;
  what_happened: WhatHappened[];
  symptoms: Symptom[];
  data_matters: DataMatters;
  in_their_words: string;
  opened_by: string;
  meter: string | null;
}

export function emptyDraft(): IntakeDraft {
  return {
    title: "",
    board: null,
    socket: null,
    what_happened: [],
    symptoms: [],
    data_matters: "not_asked",
    in_their_words: "",
    opened_by: "",
    meter: null,
  };
}

/** A board's only socket needs no choosing. */
export function onlySocket(board: BoardVersion | undefined): string | null {
  return board?.sockets.length === 1 ? (board.sockets[0]?.ref ?? null) : null;
}

/** What still keeps the draft from being a job, as a sentence; null: nothing. */
export function lacks(draft: IntakeDraft): string | null {
  if (draft.title.trim() === "") return "A name is missing, for example \"T10, ferry office\".";
  if (draft.board !== null && draft.socket === null) return "Say which socket will be read.";
  return null;
}

export function fieldsOf(draft: IntakeDraft, nowMs: number): JobFields {
  return {
    title: draft.title.trim(),
    board_version_id: draft.board,
    socket: draft.socket,
    meter_id: draft.meter,
    opened_at_ms: nowMs,
    intake: {
      what_happened: draft.what_happened,
      symptoms: draft.symptoms,
      data_matters: draft.data_matters,
      opened_by: draft.opened_by.trim(),
      in_their_words: draft.in_their_words.trim(),
    },
  };
}
