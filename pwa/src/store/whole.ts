/**
 * Entities with every default filled in, out of the generated defaults: the wire leaves defaults out,
 * and an entity known only by an edit of one field has nothing else.
 */
import type { Intake, Job, Meter } from "../generated/models";
import tables from "../generated/tables.json";
import type { EntityRow } from "./db";
import type { WholeIntake, WholeJob, WholeMeter } from "./door";

const { Job: job, Intake: intake, Meter: meter } = tables.defaults;

export function wholeJob({ id, values }: EntityRow): WholeJob {
  const given = values as Partial<Job>;
  return { ...(job as Omit<WholeJob, "id" | "intake">), ...given, intake: wholeIntake(given.intake), id };
}

export function wholeIntake(given: Intake | undefined): WholeIntake {
  return { ...(intake as unknown as WholeIntake), ...given };
}

/** A meter known by an edit of another field has no name yet; its id stands in. */
export function wholeMeter({ id, values }: EntityRow): WholeMeter {
  return { ...(meter as Omit<WholeMeter, "id" | "name">), name: id, ...(values as Partial<Meter>), id };
}
