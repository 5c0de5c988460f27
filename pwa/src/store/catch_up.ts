/** Applies what newer apps made, once this app has been updated and can read it. */
import { applyChange } from "./apply";
import { BODY_V, type PhoneDb } from "./db";

export async function applyKeptNewer(db: PhoneDb): Promise<void> {
  await db.transaction("rw", db.record, async () => {
    for (const { id, change } of await db.newer.toArray()) {
      if (((change.body as { v?: number }).v ?? 1) > BODY_V) continue;
      await applyChange(db, change);
      await db.newer.delete(id);
    }
  });
}
