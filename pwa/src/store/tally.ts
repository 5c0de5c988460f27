/**
 * What a tray says of a job's readings, kept beside them: which contacts were touched and when last. A
 * shop's list of jobs must not open its twenty thousand readings. Kept in the transaction that keeps the
 * reading, so the two cannot part; it is no record and can be made again from the readings.
 */
import type { FactRow, PhoneDb, TallyRow } from "./db";

/** Whose readings these are: a job's, or a healthy board's. */
function ownerOf(row: FactRow): string | undefined {
  return row.kind === "reading" ? (row.job_id ?? row.reference_board_id) : undefined;
}

/** Puts `row` in the place of `before`; taken back ones carry no contact and count for none. */
function recount(tally: TallyRow, before: FactRow | undefined, row: FactRow): void {
  const { contacts } = tally;
  if (before?.contact !== undefined) {
    const left = (contacts[before.contact] ?? 0) - 1;
    if (left > 0) contacts[before.contact] = left;
    else delete contacts[before.contact];
  }
  if (row.contact !== undefined) contacts[row.contact] = (contacts[row.contact] ?? 0) + 1;
  tally.newest_ms = Math.max(tally.newest_ms, (row.record["taken_at_ms"] as number | undefined) ?? 0);
}

/** Keeps a fact and what is counted of it. Call inside a transaction over both tables. */
export async function putFact(db: PhoneDb, row: FactRow, before: FactRow | undefined): Promise<void> {
  await db.facts.put(row);
  const owner = ownerOf(row);
  if (owner === undefined) return;
  const tally = (await db.tallies.get(owner)) ?? noneOf(owner);
  recount(tally, before, row);
  await db.tallies.put(tally);
}

/** All of them from the readings, for a record that was made before they were counted. */
export function talliesOf(readings: readonly FactRow[]): TallyRow[] {
  const found = new Map<string, TallyRow>();
  for (const row of readings) {
    const owner = ownerOf(row);
    if (owner === undefined) continue;
    const tally = found.get(owner) ?? noneOf(owner);
    found.set(owner, tally);
    recount(tally, undefined, row);
  }
  return [...found.values()];
}

const noneOf = (owner: string): TallyRow => ({ owner, contacts: {}, newest_ms: 0 });
