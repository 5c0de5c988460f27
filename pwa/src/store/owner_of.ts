/** Where a record names what it belongs to: in `of` where that is an object, else beside its other fields. */
import type { FactRow } from "./db";

export function ownerOf(record: Record<string, unknown>): Partial<Pick<FactRow, "job_id" | "reference_board_id" | "board_version_id">> {
  const of = record["of"];
  return typeof of === "object" && of !== null ? of : record;
}
