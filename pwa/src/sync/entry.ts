/**
 * How this phone gets into the shop and is known there. Decides: that the token lies with the record, that
 * a browser on the server's own machine asks to be let in by itself, and that whatever the shop says of the
 * token, what waits to be sent stays waiting.
 */
import type { Paired, Problem } from "../generated/models";
import type { PhoneDb } from "../store/db";
import * as server from "./server";

const OWN_MACHINE = new Set(["localhost", "127.0.0.1", "[::1]"]);

const NOT_YET: Problem = { code: "not_paired", message: "This phone is not paired with the shop yet." };

/** Every request asks the record for the token: another tab may have paired since. */
export function tokenFromRecord(db: PhoneDb): void {
  server.askTokenOf(async () => (await db.metaOf("token")) ?? null);
}

/** Whether there is a token to ask with. Throws `Unreachable`. */
export async function isLetIn(db: PhoneDb): Promise<boolean> {
  if ((await db.metaOf("token")) !== undefined) return true;
  try {
    if (!OWN_MACHINE.has(location.hostname)) throw new server.Trouble(401, NOT_YET);
    await keepPaired(db, await server.pairHere());
    return true;
  } catch (error) {
    if (!(error instanceof server.Trouble)) throw error;
    await db.setMeta("entry_refused", error.problem);
    return false;
  }
}

/**
 * Whether a token the shop does not know was exchanged for a new one, which a browser on the server's own
 * machine may: its record was begun anew. A token that was taken out stays out.
 */
export async function cameInAnew(db: PhoneDb, refused: Problem): Promise<boolean> {
  if (refused.code !== "not_paired" || !OWN_MACHINE.has(location.hostname)) return false;
  try {
    await keepPaired(db, await server.pairHere());
    return true;
  } catch (error) {
    if (error instanceof server.Trouble || error instanceof server.Unreachable) return false;
    throw error;
  }
}

export async function pairWith(db: PhoneDb, code: string): Promise<void> {
  await keepPaired(db, await server.pair(code));
}

/** What the last round says of the token: null, or why the shop does not take it. */
export async function noteEntry(db: PhoneDb, refused: Problem | null): Promise<void> {
  if (((await db.metaOf("entry_refused")) ?? null) !== refused) await db.setMeta("entry_refused", refused);
}

async function keepPaired(db: PhoneDb, { token, phone }: Paired): Promise<void> {
  await db.transaction("rw", db.meta, async () => {
    await db.setMeta("token", token);
    await db.setMeta("paired_as", phone);
    await db.setMeta("entry_refused", null);
    await db.setMeta("trouble", null);
    if (((await db.metaOf("actor")) ?? "") === "" && (phone.technician ?? "") !== "") await db.setMeta("actor", phone.technician ?? "");
  });
}
