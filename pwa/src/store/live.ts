/** Turns a query of the database into a value that changes: asked again whenever its rows change, in any tab. */
import { liveQuery, type Subscription } from "dexie";

import { onLiveConnection, type PhoneDb } from "./db";
import type { Live } from "./door";
import { readError, type StorageWatch } from "./storage_state";

const ASK_AGAIN_MS = 2000;

/** A query that fails shows as a storage failure and is asked again; the last value stays. */
export function live<T>(db: PhoneDb, storage: StorageWatch, query: () => Promise<T>): Live<T> {
  return {
    subscribe(run) {
      let subscription: Subscription | undefined;
      let timer: ReturnType<typeof setTimeout> | undefined;
      const ask = (): void => {
        subscription = liveQuery(() => onLiveConnection(db, query)).subscribe({
          next: run,
          error: (error: unknown) => {
            storage.failed(readError(error));
            timer = setTimeout(ask, ASK_AGAIN_MS);
          },
        });
      };
      run(undefined);
      ask();
      return () => {
        clearTimeout(timer);
        subscription?.unsubscribe();
      };
    },
  };
}
