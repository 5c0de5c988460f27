/** Small queries that leave out what was taken back; everything that reads the record goes through them. */
import type { EntityKind, FactKind } from "../generated/models";
import type { EntityRow, FactRow, PhoneDb } from "./db";

/** Which records a fact is asked for by. */
export type Owner = "job_id" | "reference_board_id" | "board_version_id";

/** No record has it: an id is at least one letter. */
const NO_ID = "";

/** All facts of a kind that belong to one record, those taken back too: see `FactRow.gone`. */
export function factsOf(db: PhoneDb, kind: FactKind, owner: Owner, id: string): Promise<FactRow[]> {
  return db.facts.where(`[kind+${owner}]`).equals([kind, id]).toArray();
}

export async function visibleFactsOf<T>(db: PhoneDb, kind: FactKind, owner: Owner, id: string): Promise<T[]> {
  return visibleRecords<T>(await factsOf(db, kind, owner, id));
}

export function visibleRecords<T>(rows: readonly FactRow[]): T[] {
  return rows.filter((row) => row.gone === 0).map((row) => row.record as T);
}

export async function visibleFacts<T>(db: PhoneDb, kind: FactKind): Promise<T[]> {
  const rows = await db.facts.where("[kind+id]").between([kind, ""], [kind, "\uffff"]).toArray();
  return visibleRecords<T>(rows);
}

/**
 * `null` for no id too, and asked all the same: a live query that awaits something the database did not
 * answer is no longer told of what is asked after it, and a job without a board would stand still.
 */
export async function visibleFact<T>(db: PhoneDb, kind: FactKind, id: string | null): Promise<T | null> {
  const row = await db.facts.get([kind, id ?? NO_ID]);
  return row === undefined || row.gone === 1 ? null : (row.record as T);
}

export async function visibleEntity(db: PhoneDb, kind: EntityKind, id: string): Promise<EntityRow | null> {
  const row = await db.fields.get([kind, id]);
  return row === undefined || row.gone === 1 ? null : row;
}

export async function visibleEntities(db: PhoneDb, kind: EntityKind): Promise<EntityRow[]> {
  return (await db.fields.where("kind").equals(kind).toArray()).filter((row) => row.gone === 0);
}
