/**
 * Changes of other devices that came as a file: applied as the sync's pull applies them, and put into this
 * phone's outbox as they are. Their rows stand below 0 there, apart from this device's own numbering.
 */
import type { Body, Change } from "../generated/models";
import { applyChange, stampOf } from "./apply";
import type { PhoneDb } from "./db";
import { isClosed } from "./handed_over";
import { HLC_ZERO, shopTime, witness } from "./hlc";
import { subjectOf, waiting } from "./outbox_row";

/** Whether this very change is known here: sent from here, kept closed, or what the record's stamps say. */
export async function isHere(db: PhoneDb, change: Change): Promise<boolean> {
  if ((await db.changes.where("id").equals(change.id).count()) > 0) return true;
  if (isClosed(change)) return (await db.newer.get(change.id)) !== undefined;
  const [body, stamp] = [change.body as Body, stampOf(change)];
  if (body.what === "added") return (await db.facts.get([body.kind, (body.record as { id: string }).id]))?.stamp === stamp;
  // a removal leaves no stamp, so whose it was cannot be told: it is sent once more
  if (body.what === "removed") return false;
  const row = await db.fields.get([body.kind, body.id]);
  return row !== undefined && Object.keys(body.fields).every((name) => row.stamps[name] === stamp);
}

/** Call inside a transaction over the record, `changes` and `meta`. What is here already stays as it is. */
export async function carryAll(db: PhoneDb, changes: readonly Change[]): Promise<void> {
  const lowest = Math.min((await db.changes.orderBy("device_seq").first())?.device_seq ?? 0, 0);
  const now_ms = shopTime(Date.now(), (await db.metaOf("clock_off_ms")) ?? null);
  let hlc = (await db.metaOf("hlc")) ?? HLC_ZERO;
  let place = lowest - changes.length;
  for (const change of changes) {
    if (await isHere(db, change)) continue;
    await db.changes.add({ ...(await subjectOf(db, change)), ...waiting(change), device_seq: place });
    await applyChange(db, change);
    hlc = witness(hlc, change.hlc, now_ms);
    place += 1;
  }
  await db.setMeta("hlc", hlc);
}
