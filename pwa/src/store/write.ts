/**
 * The one way an edit gets into the record: record, outbox row, stamp and counter in one transaction.
 *
 * Decides: ids, stamps and the device's own numbering. Leaves to others: what the edits are
 * (`edits.ts`), how they merge (`apply.ts`), and sending them (`sync/`).
 */
import type { Table } from "dexie";
import { uuidv7 } from "uuidv7";

import type { Body, Change } from "../generated/models";
import { applyChange } from "./apply";
import { carryAll } from "./carry";
import { BODY_V, onLiveConnection, type PhoneDb } from "./db";
import { StoreError } from "./door";
import { HLC_ZERO, shopTime, tick } from "./hlc";
import { outOfBounds } from "./limits";
import { subjectOf, waiting } from "./outbox_row";
import { toPlain } from "./plain";
import type { StorageWatch } from "./storage_state";

/** An edit before it has a place in this device's order. The id is made once, so that trying again cannot double it. */
interface Edit {
  id: string;
  body: Body;
}

/** Rows that belong to an edit and are no part of the record: kept in the same transaction. */
export interface Beside {
  tables: Table[];
  keep: () => Promise<void>;
}

/** Edits the author makes of `device` and the name of who works here. */
export interface Author {
  device: string;
  actor: string;
}

export class Writer {
  constructor(
    private readonly db: PhoneDb,
    private readonly storage: StorageWatch,
    private readonly onWritten: () => void,
  ) {}

  /**
   * Keeps `bodies`, each as one change of this app's version, and drops the draft they complete.
   * Resolves when the transaction is complete on disk; rejects with a `StoreError` and nothing kept.
   */
  async commit(bodies: readonly Body[], draftKey?: string, beside?: Beside): Promise<void> {
    try {
      const edits = bodies.map((body): Edit => ({ id: uuidv7(), body: withinBounds(toPlain({ ...body, v: BODY_V })) }));
      await onLiveConnection(this.db, () => this.#keep(edits, draftKey, beside));
    } catch (error) {
      throw this.storage.failed(error);
    }
    this.storage.worked();
    this.onWritten();
  }

  /** Keeps changes of other devices as they are, and sends them on; resolves and rejects like `commit`. */
  async carry(changes: readonly Change[], beside: Beside): Promise<void> {
    const { db } = this;
    try {
      await onLiveConnection(db, () =>
        db.transaction("rw", [...db.record, db.changes, db.meta, ...beside.tables], async () => {
          await carryAll(db, changes);
          await beside.keep();
        }),
      );
    } catch (error) {
      throw this.storage.failed(error);
    }
    this.storage.worked();
    this.onWritten();
  }

  async #keep(edits: readonly Edit[], draftKey: string | undefined, beside: Beside | undefined): Promise<void> {
    const { db } = this;
    const tables = [...db.record, db.changes, db.meta, db.drafts, ...(beside?.tables ?? [])];
    await db.transaction("rw", tables, async () => {
      for (const edit of edits) {
        if ((await db.changes.where("id").equals(edit.id).count()) === 0) await keepOne(db, edit);
      }
      await beside?.keep();
      if (draftKey !== undefined) await db.drafts.delete(draftKey);
    });
  }
}

/** The body as it is; throws where a number of it is none that the record takes. */
function withinBounds(body: Body): Body {
  const wrong = outOfBounds(body);
  if (wrong !== null) throw new StoreError("wrong_value", wrong);
  return body;
}

async function keepOne(db: PhoneDb, { id, body }: Edit): Promise<void> {
  const { device, actor } = await author(db);
  const last = await db.changes.orderBy("device_seq").last();
  const hlc = tick((await db.metaOf("hlc")) ?? HLC_ZERO, shopTime(Date.now(), (await db.metaOf("clock_off_ms")) ?? null));
  await db.setMeta("hlc", hlc);
  const change: Change = { id, device, device_seq: Math.max(last?.device_seq ?? 0, 0) + 1, hlc, actor, body };
  await db.changes.add({ ...(await subjectOf(db, change)), ...waiting(change) });
  await applyChange(db, change);
}

/** Who writes here. The device's name is made at the first write and stays. */
export async function author(db: PhoneDb): Promise<Author> {
  let device = await db.metaOf("device");
  if (device === undefined) {
    device = uuidv7();
    await db.setMeta("device", device);
  }
  return { device, actor: (await db.metaOf("actor")) ?? "" };
}
