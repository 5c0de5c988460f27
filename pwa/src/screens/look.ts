/** An opinion as it was when somebody looked, and how far the readings have gone on since. */
import type { Opinion } from "../generated/models";
import type { ReadingRow } from "../store/door";

export interface Look {
  opinion: Opinion;
  formed_at_ms: number;
  /** Readings it had not seen when it was looked at. */
  behind: number;
  rows: ReadonlySet<string>;
}

function idsOf(rows: readonly ReadingRow[]): Set<string> {
  return new Set(rows.map((row) => row.reading.id));
}

export function lookOf(opinion: Opinion, formed_at_ms: number, behind: number, rows: readonly ReadingRow[]): Look {
  return { opinion, formed_at_ms, behind, rows: idsOf(rows) };
}

/** Readings added or taken back that the opinion on the screen does not know. */
export function readingsSince(look: Look, rows: readonly ReadingRow[]): number {
  const now = idsOf(rows);
  const added = [...now].filter((id) => !look.rows.has(id)).length;
  const gone = [...look.rows].filter((id) => !now.has(id)).length;
  return look.behind + added + gone;
}
