/** Whether what is typed can be kept: the state a screen shows, and the words for each failure. */
import { writable } from "svelte/store";

import { isStorageFull } from "./db";
import { type State, type StorageState, StoreError, type StoreErrorCode } from "./door";

const ASKED_WRONGLY: readonly StoreErrorCode[] = ["not_found", "not_complete", "not_safe", "wrong_value"];

export class StorageWatch {
  readonly #state = writable<StorageState>({ is: "ok", persistent: null });
  #persistent: boolean | null = null;
  readonly state: State<StorageState> = { subscribe: this.#state.subscribe };

  /** Asks the browser to keep the data; where it cannot be asked the answer stays unknown. */
  async askToPersist(): Promise<void> {
    if (!navigator.storage?.persist) return;
    this.#persistent = await navigator.storage.persist().catch(() => null);
    this.#state.update((now) => (now.is === "ok" ? { is: "ok", persistent: this.#persistent } : now));
  }

  worked(): void {
    this.#state.update((now) => (now.is === "ok" ? now : { is: "ok", persistent: this.#persistent }));
  }

  /** Shows the failure and gives it back as what a write rejects with. */
  failed(error: unknown): StoreError {
    const known = error instanceof StoreError ? error : storeError(error);
    // a write that was asked for wrongly says nothing about the storage
    if (ASKED_WRONGLY.includes(known.code)) return known;
    this.#state.set({ is: "failed", code: known.code, why: known.message, since_ms: Date.now() });
    return known;
  }
}

/** Why a query gave nothing; nothing typed is lost by it. */
export function readError(error: unknown): StoreError {
  const { name, message = String(error) } = (error ?? {}) as Partial<Error>;
  return new StoreError("storage_lost", `The record on this phone cannot be read (${name ?? "error"}: ${message}).`, {
    cause: error,
  });
}

function storeError(error: unknown): StoreError {
  const cause = { cause: error };
  if (isStorageFull(error)) {
    return new StoreError("storage_full", "This phone's storage is full: not saved. Free some space, enter it again.", cause);
  }
  const { name = "", message = String(error) } = (error ?? {}) as Partial<Error>;
  if (/DatabaseClosed|UnknownError|InvalidState|Abort|MissingAPI|OpenFailed/.test(name)) {
    return new StoreError("storage_lost", `The browser lost its storage (${name}): the last entry is not saved. Reload, then enter it again.`, cause);
  }
  return new StoreError("unknown", `Not saved: ${message}`, cause);
}
