/**
 * What a change that was pulled takes with it besides the record: the picture of a photo that is taken back, and,
 * where the shop forgets an owner's words, those words in the edits that this phone once sent. (What it has not
 * sent stays whole.) Which words those are the shop decides: whatever its change empties is emptied here too.
 */
import type { Body, Change } from "../generated/models";
import type { PhoneDb } from "../store/db";
import { forgetting } from "../store/photos";

/** How a device is called under which the shop itself makes a change; `server/sync/forget.py` names them. */
const SHOP = "shop-";

type Fields = Record<string, unknown>;

/** Call inside a transaction over the record, `changes`, `photos`, `thumbs` and `photo_sends`, once it is applied. */
export async function takeAlong(db: PhoneDb, change: Change): Promise<void> {
  const body = change.body as Body;
  if (body.what === "removed") {
    if (body.kind === "photo") await forgetting(db, body.id).keep();
  } else if (change.device.startsWith(SHOP)) await emptySent(db, body);
}

async function emptySent(db: PhoneDb, forgotten: Exclude<Body, { what: "removed" }>): Promise<void> {
  const held = valuesOf(forgotten);
  const id = forgotten.what === "added" ? held["id"] : forgotten.id;
  await db.changes
    .where("status")
    .equals("known")
    .filter((row) => row.kind === forgotten.kind && row.record_id === id && (row.change.body as Body).what === forgotten.what)
    .modify((row) => {
      const body = row.change.body as Exclude<Body, { what: "removed" }>;
      const emptied = without(valuesOf(body), held);
      row.change = { ...row.change, body: body.what === "added" ? { ...body, record: emptied } : { ...body, fields: emptied } };
    });
}

function valuesOf(body: Exclude<Body, { what: "removed" }>): Fields {
  return (body.what === "added" ? body.record : body.fields) as Fields;
}

/** The values, with every text and every list empty that is empty in `forgotten`. */
function without(values: Fields, forgotten: Fields): Fields {
  return Object.fromEntries(
    Object.entries(values).map(([name, value]) => {
      const now = forgotten[name];
      if (typeof value === "string" && now === "") return [name, ""];
      if (Array.isArray(value) && isEmptyList(now)) return [name, []];
      return isObject(value) && isObject(now) ? [name, without(value, now)] : [name, value];
    }),
  );
}

function isEmptyList(value: unknown): boolean {
  return Array.isArray(value) && value.length === 0;
}

function isObject(value: unknown): value is Fields {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}
