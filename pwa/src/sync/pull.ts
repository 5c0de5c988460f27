/** Fetches what others did. The cursor moves in the transaction that applied the page, and nowhere else. */
import type { ChangePage, Problem } from "../generated/models";
import { applyChange } from "../store/apply";
import type { PhoneDb } from "../store/db";
import { HLC_ZERO, shopTime, witness } from "../store/hlc";
import { noteEpoch } from "./epoch";
import { takeAlong } from "./forgotten";
import * as server from "./server";

/** Pulls to the end. True: the server's record turned out to be another one, so own edits wait again. */
export async function pullAll(db: PhoneDb, onAnswer: (server_ms: number) => Promise<void>): Promise<boolean> {
  let isOther = false;
  for (let more = true; more; ) {
    const after = (await db.metaOf("cursor")) ?? 0;
    const page = await server.pull(after);
    await onAnswer(page.server_ms);
    const kept = await keepPage(db, page);
    isOther ||= kept === "other_record";
    more = kept === "other_record" || page.more;
    // more of the same page would be asked for for ever
    if (kept === "kept" && page.more && page.next_after <= after) throw new server.Trouble(200, standsStill(after));
  }
  return isOther;
}

async function keepPage(db: PhoneDb, page: ChangePage): Promise<"kept" | "other_record"> {
  const tables = [...db.record, db.changes, db.photos, db.thumbs, db.photo_sends, db.meta];
  return db.transaction("rw", tables, async () => {
    // a page of another record was numbered otherwise: it starts again from the beginning
    if (await noteEpoch(db, page.epoch)) return "other_record";
    let hlc = (await db.metaOf("hlc")) ?? HLC_ZERO;
    const now_ms = shopTime(Date.now(), (await db.metaOf("clock_off_ms")) ?? null);
    for (const { change } of page.changes) {
      await applyChange(db, change);
      await takeAlong(db, change);
      hlc = witness(hlc, change.hlc, now_ms);
    }
    await db.setMeta("hlc", hlc);
    await db.setMeta("cursor", page.next_after);
    if (!page.more) await db.setMeta("first_pull_done", true);
    return "kept";
  });
}

function standsStill(after: number): Problem {
  return {
    code: "page_stands_still",
    message: "The server says there is more, but its page leads nowhere.",
    given: `after ${after}`,
    expected: "a page that ends later",
  };
}
