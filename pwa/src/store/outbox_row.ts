/** What a row of the outbox says of its change: where it stands, and which record and job it is about. */
import type { Body, Change } from "../generated/models";
import { BODY_V, type FactRow, type OwnChangeRow, type PhoneDb } from "./db";
import { ownerOf } from "./owner_of";

export function waiting(
  change: Change,
): Pick<OwnChangeRow, "device_seq" | "id" | "change" | "status" | "problem" | "answered_at_ms"> {
  const { id, device_seq } = change;
  return { id, device_seq, change, status: "waiting", problem: null, answered_at_ms: null };
}

export async function subjectOf(db: PhoneDb, change: Change): Promise<Pick<OwnChangeRow, "kind" | "record_id" | "job_id">> {
  const body = change.body as Body;
  // a newer app's: what it is about is not read before the update
  if ((body.v ?? 1) > BODY_V) return { kind: "newer", record_id: "", job_id: null };
  const { kind } = body;
  if (body.what === "added") {
    const record = body.record as FactRow["record"];
    return { kind, record_id: record.id, job_id: ownerOf(record).job_id ?? null };
  }
  if (kind === "job") return { kind, record_id: body.id, job_id: body.id };
  return { kind, record_id: body.id, job_id: (await db.facts.get([kind, body.id]))?.job_id ?? null };
}
