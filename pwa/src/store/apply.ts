/**
 * Applies one change to the record; the same rule as the server's `sync/apply.py`, held equal by
 * `tests/vectors/apply`. Facts are a grow-only set by id; each field of an entity keeps the value with
 * the largest (hlc, device, change id); a removal wins whatever the order. Call inside a transaction.
 */
import type { Added, Body, Change, FieldsSet, Removed } from "../generated/models";
import { BODY_V, type FactRow, type PhoneDb } from "./db";
import { ownerOf } from "./owner_of";
import { putFact } from "./tally";

/** All parts of a stamp are ASCII without spaces, so text order is the order of the three in turn. */
export const stampOf = (change: Change): string => `${change.hlc} ${change.device} ${change.id}`;

export async function applyChange(db: PhoneDb, change: Change): Promise<void> {
  const body = change.body as Body;
  if ((body.v ?? 1) > BODY_V) await db.newer.put({ id: change.id, change });
  else if (body.what === "added") await applyAdded(db, body, stampOf(change));
  else if (body.what === "fields_set") await applyFields(db, body, stampOf(change));
  else await applyRemoved(db, body);
}

async function applyAdded(db: PhoneDb, { kind, record }: Added, stamp: string): Promise<void> {
  const row = factRow(kind, record as FactRow["record"], stamp);
  const there = await db.facts.get([kind, row.id]);
  if (there && there.stamp >= stamp) return;
  await putFact(db, (await db.removed.get([kind, row.id])) ? gone(row) : row, there);
}

async function applyFields(db: PhoneDb, { kind, id, fields }: FieldsSet, stamp: string): Promise<void> {
  const there = await db.fields.get([kind, id]);
  const isGone = (await db.removed.get([kind, id])) ? 1 : 0;
  const row = there ?? { kind, id, values: {}, stamps: {}, gone: isGone };
  for (const [name, value] of Object.entries(fields)) {
    if ((row.stamps[name] ?? "") >= stamp) continue;
    row.stamps[name] = stamp;
    row.values[name] = value;
  }
  await db.fields.put(row);
}

async function applyRemoved(db: PhoneDb, { kind, id }: Removed): Promise<void> {
  await db.removed.put({ kind, id });
  const fact = await db.facts.get([kind, id] as [string, string]);
  if (fact !== undefined) await putFact(db, gone(fact), fact);
  await db.fields.where("[kind+id]").equals([kind, id]).modify({ gone: 1 });
}

function factRow(kind: Added["kind"], record: FactRow["record"], stamp: string): FactRow {
  const of = ownerOf(record);
  const touch = record["touch"] as { what: string; contact: string } | undefined;
  const row: FactRow = { kind, id: record.id, stamp, record, gone: 0 };
  if (of.job_id !== undefined) row.job_id = of.job_id;
  if (of.reference_board_id !== undefined) row.reference_board_id = of.reference_board_id;
  if (of.board_version_id !== undefined) row.board_version_id = of.board_version_id;
  if (touch?.what === "contact") row.contact = touch.contact;
  return row;
}

const gone = ({ contact: _, ...row }: FactRow): FactRow => ({ ...row, gone: 1 });
