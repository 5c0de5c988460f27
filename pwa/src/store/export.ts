/** The file of last resort: every edit that no server has taken, as a batch the server's door reads. */
import type { PhoneDb } from "./db";

export async function exportUnsynced(db: PhoneDb): Promise<Blob> {
  const rows = await db.changes.where("status").anyOf("waiting", "refused").sortBy("device_seq");
  const batch = { changes: rows.map((row) => row.change) };
  return new Blob([JSON.stringify(batch, null, 1)], { type: "application/json" });
}
