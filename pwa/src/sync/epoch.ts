/**
 * Which record the server holds. A server restored from a backup says another epoch: what it had
 * answered for may be gone, so everything made here is sent again, and everything is asked for again.
 */
import type { PhoneDb } from "../store/db";

/** Call inside a transaction over `changes`, `photo_sends` and `meta`. True: the server's record is another one. */
export async function noteEpoch(db: PhoneDb, epoch: string): Promise<boolean> {
  const known = await db.metaOf("epoch");
  if (known === epoch) return false;
  await db.setMeta("epoch", epoch);
  if (known === undefined) return false;
  await db.setMeta("cursor", 0);
  await db.changes.where("status").notEqual("waiting").modify({ status: "waiting", problem: null, answered_at_ms: null });
  await db.photo_sends.where("status").notEqual("waiting").modify({ status: "waiting", problem: null, answered_at_ms: null });
  return true;
}
