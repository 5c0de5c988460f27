/** What is typed but not yet a record, kept so that a page that was killed goes on where it stopped. */
import { onLiveConnection, type PhoneDb } from "./db";
import type { Door } from "./door";
import { toPlain } from "./plain";
import type { StorageWatch } from "./storage_state";

export function drafts(db: PhoneDb, storage: StorageWatch): Pick<Door, "saveDraft" | "readDraft" | "dropDraft"> {
  const kept = async <T>(work: () => Promise<T>): Promise<T> => {
    try {
      return await onLiveConnection(db, work);
    } catch (error) {
      throw storage.failed(error);
    }
  };
  return {
    async saveDraft(key, value) {
      const row = { key, value: toPlain(value), saved_at_ms: Date.now() };
      await kept(() => db.drafts.put(row));
    },
    async readDraft<T>(key: string) {
      return ((await kept(() => db.drafts.get(key)))?.value as T | undefined) ?? null;
    },
    dropDraft: (key) => kept(() => db.drafts.delete(key)),
  };
}
