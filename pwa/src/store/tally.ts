/**
 * What a tray says of a job's readings, kept beside them: which contacts were touched and when last. A
 * shop's list of jobs must not open its twenty thousand readings. Kept in the transaction that keeps the
 * reading; it is no record and is made again from the readings when the two have parted, as they do when a
 * window with an app from before this table goes on beside a newer one.
 */
import Dexie, { type Collection, type Table } from "dexie";

import type { FactRow, PhoneDb, TallyRow } from "./db";

/** Whose readings these are: a job's, or a healthy board's. */
function ownerOf(row: FactRow): string | undefined {
  return row.kind === "reading" ? (row.job_id ?? row.reference_board_id) : undefined;
}

/** Puts `row` in the place of `before`; taken back ones carry no contact and count for none. */
function recount(tally: TallyRow, before: FactRow | undefined, row: FactRow): void {
  const { contacts } = tally;
  if (before === undefined) tally.rows += 1;
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
  const tally = (await db.tallies.get(owner)) ?? noneOf(owner, row);
  recount(tally, before, row);
  await db.tallies.put(tally);
}

/** All of them from the readings, for a record that was made before they were counted. */
export function talliesOf(readings: readonly FactRow[]): TallyRow[] {
  const found = new Map<string, TallyRow>();
  for (const row of readings) {
    const owner = ownerOf(row);
    if (owner === undefined) continue;
    const tally = found.get(owner) ?? noneOf(owner, row);
    found.set(owner, tally);
    recount(tally, undefined, row);
  }
  return [...found.values()];
}

/** Counts again when the sums are not those of the readings; two counts out of indexes when all is well. */
export async function mendTallies(db: PhoneDb): Promise<void> {
  if (await areWhole(db)) return;
  await db.transaction("rw", db.facts, db.tallies, async () => {
    await db.tallies.clear();
    await db.tallies.bulkPut(talliesOf(await allReadings(db.facts).toArray()));
  });
}

export function allReadings(facts: Table<FactRow>): Collection<FactRow> {
  return facts.where("[kind+id]").between(["reading", ""], ["reading", "\uffff"]);
}

function areWhole(db: PhoneDb): Promise<boolean> {
  return db.transaction("r", db.facts, db.tallies, async () => {
    const tallies = await db.tallies.toArray();
    const rows = tallies.reduce((sum, tally) => sum + tally.rows, 0);
    const ofJobs = tallies.filter((tally) => tally.of_job).flatMap(({ contacts }) => Object.values(contacts));
    const touched = ofJobs.reduce((sum, count) => sum + count, 0);
    const [first, last] = [[Dexie.minKey, Dexie.minKey], [Dexie.maxKey, Dexie.maxKey]];
    const shown = await db.facts.where("[job_id+contact]").between(first, last).count();
    return rows === (await allReadings(db.facts).count()) && touched === shown;
  });
}

const noneOf = (owner: string, { job_id }: FactRow): TallyRow => ({
  owner,
  of_job: job_id !== undefined,
  rows: 0,
  contacts: {},
  newest_ms: 0,
});
