/**
 * Reads the file of last resort of any phone (`export.ts` writes it), as a whole or not at all.
 *
 * Decides: whether it is one. Every change must have a sound envelope and a body this record can hold, every
 * picture the content its name says. Leaves to others: whether each field of a record is right. The file also
 * carries what the shop refused, so that is judged by the shop, edit by edit, and one bad edit keeps no other out.
 */
import { type UnzipFileInfo, unzipSync } from "fflate";

import type { Body, Change, EntityKind, FactKind } from "../generated/models";
import { hashOf, makeThumb } from "../photo/make";
import { BODY_V } from "./db";
import { CHANGES_FILE, PHOTOS_FOLDER } from "./export";

/** More than the largest of either that a phone makes; a file that unpacks to more is none of its. */
const LARGEST_BYTES = 64_000_000;
const PHOTO = /^photos\/([0-9a-f]{64})\.(jpg|png|webp)$/;
const MIME: Record<string, string> = { jpg: "image/jpeg", png: "image/png", webp: "image/webp" };
const ID = /^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$/;
const HLC = /^[0-9]{15}-[0-9]{5}$/;
const ENVELOPE = ["actor", "body", "device", "device_seq", "hlc", "id"];
const FACTS: Record<FactKind, true> = {
  reading: true, photo: true, observation: true, make_safe: true, board_version: true, correction: true,
  power_check: true, rail_point: true, custody: true, consent: true, closing: true,
};
const ENTITIES: Record<EntityKind, true> = { job: true, meter: true, reference_board: true, shop: true };
const EXAMPLE_NAME = `${PHOTOS_FOLDER}<64 digits of its SHA-256>.jpg`;

export interface HandedPicture {
  sha256: string;
  mime: string;
  bytes: ArrayBuffer;
  thumb: ArrayBuffer;
}

export interface HandedFile {
  changes: Change[];
  pictures: HandedPicture[];
  /** Files in the zip that are neither; left alone. */
  others: number;
}

/** Why a file is not taken in; `message` is a sentence for the screen. */
export class NotHandedOver extends Error {
  override name = "NotHandedOver";
  constructor(given: string, expected: string, example: string) {
    super(`${given}. Expected ${expected}; for example ${example}. Nothing was taken in.`);
  }
}

/** A body of a newer app: its envelope is read and nothing else. */
export function isClosed(change: Change): boolean {
  return ((change.body as { v?: number }).v ?? 1) > BODY_V;
}

/** Rejects with `NotHandedOver`. */
export async function readHandedOver(file: File): Promise<HandedFile> {
  const entries = unpacked(new Uint8Array(await file.arrayBuffer()), file.name);
  const changes = changesOf(entries[CHANGES_FILE], file.name);
  const pictures: HandedPicture[] = [];
  let others = 0;
  for (const [name, bytes] of Object.entries(entries)) {
    if (name.startsWith(PHOTOS_FOLDER)) pictures.push(await pictureOf(name, bytes));
    else if (name !== CHANGES_FILE) others += 1;
  }
  return { changes, pictures, others };
}

function unpacked(zip: Uint8Array, name: string): Record<string, Uint8Array<ArrayBuffer>> {
  const filter = (entry: UnzipFileInfo): boolean => {
    if (entry.originalSize > LARGEST_BYTES) {
      throw new NotHandedOver(`"${entry.name}" in "${name}" unpacks to ${entry.originalSize} bytes`, `at most ${LARGEST_BYTES}`, "a picture of 4 MB");
    }
    return !entry.name.endsWith("/");
  };
  try {
    const entries = unzipSync(zip, { filter });
    // a copy each: what is hashed and kept is one entry, not the whole zip it is a window into
    return Object.fromEntries(Object.entries(entries).map(([path, bytes]) => [path, bytes.slice()]));
  } catch (error) {
    if (error instanceof NotHandedOver) throw error;
    throw new NotHandedOver(`"${name}" is no zip, or breaks off before its end`, "the zip that a phone handed over", "second-probe-waiting.zip");
  }
}

async function pictureOf(name: string, bytes: Uint8Array<ArrayBuffer>): Promise<HandedPicture> {
  const [, sha256 = "", ending = ""] = PHOTO.exec(name) ?? [];
  if (sha256 === "") throw new NotHandedOver(`A picture is called "${name}"`, "the SHA-256 of its content as its name", EXAMPLE_NAME);
  const found = await hashOf(bytes.buffer);
  if (found !== sha256) {
    const given = `The picture "${name}" is damaged: the SHA-256 of its content is ${found}`;
    throw new NotHandedOver(given, "the one in its name", `${PHOTOS_FOLDER}${found}.${ending}`);
  }
  const mime = MIME[ending] ?? "";
  try {
    return { sha256, mime, bytes: bytes.buffer, thumb: await makeThumb(new Blob([bytes], { type: mime })) };
  } catch {
    throw new NotHandedOver(`"${name}" is no picture this browser can read`, "a JPEG, PNG or WebP", EXAMPLE_NAME);
  }
}

function changesOf(bytes: Uint8Array | undefined, name: string): Change[] {
  const example = '{"changes": []}';
  if (bytes === undefined) {
    throw new NotHandedOver(`"${name}" has no ${CHANGES_FILE} in it`, `${CHANGES_FILE} and the folder ${PHOTOS_FOLDER} in a zip`, "second-probe-waiting.zip");
  }
  const batch = parsed(bytes);
  if (isObject(batch) && typeof batch["v"] === "number" && batch["v"] > BODY_V) {
    throw new NotHandedOver(`"${name}" was made by a newer app (version ${batch["v"]})`, `at most version ${BODY_V}: update this app first`, example);
  }
  if (!isObject(batch) || !Array.isArray(batch["changes"])) {
    throw new NotHandedOver(`${CHANGES_FILE} in "${name}" holds no list of edits`, "a list under changes", example);
  }
  const seen = new Set<string>();
  return batch["changes"].map((change: unknown, at) => checked(change, `${CHANGES_FILE}, changes[${at}]`, seen));
}

function parsed(bytes: Uint8Array): unknown {
  try {
    return JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(bytes)) as unknown;
  } catch {
    return undefined;
  }
}

function checked(given: unknown, where: string, seen: Set<string>): Change {
  if (!isObject(given)) throw wrong(where, given, "an edit", '{"id": "...", "device": "...", "device_seq": 1, "hlc": "...", "body": {...}}');
  const { id, device, device_seq, hlc, actor = "", body } = given;
  const odd = Object.keys(given).find((name) => !ENVELOPE.includes(name));
  if (odd !== undefined) throw wrong(`${where}.${odd}`, given[odd], `only ${ENVELOPE.join(", ")}`, '"actor": "Bench 2"');
  if (!isId(id)) throw wrong(`${where}.id`, id, "an id", '"0192f0c1-7a10-7000-8000-000000000001"');
  if (seen.has(id)) throw wrong(`${where}.id`, id, "each edit once", '"0192f0c1-7a10-7000-8000-000000000002"');
  seen.add(id);
  if (!isId(device)) throw wrong(`${where}.device`, device, "the id of a phone", '"0192f0c1-7a10-7000-8000-0000000000d1"');
  if (!Number.isSafeInteger(device_seq) || (device_seq as number) < 1) throw wrong(`${where}.device_seq`, device_seq, "a whole number from 1 on", "7");
  if (typeof hlc !== "string" || !HLC.test(hlc)) throw wrong(`${where}.hlc`, hlc, "15 digits, a dash and 5 digits", '"001700000000000-00000"');
  if (typeof actor !== "string") throw wrong(`${where}.actor`, actor, "a name", '"Bench 2"');
  checkBody(body, `${where}.body`);
  return given as unknown as Change;
}

function checkBody(body: unknown, where: string): void {
  if (!isObject(body)) throw wrong(where, body, "what was done", '{"what": "removed", "kind": "reading", "id": "..."}');
  const { what, kind, v = 1 } = body as Partial<Record<keyof Body | "kind", unknown>>;
  if (!Number.isSafeInteger(v) || (v as number) < 1) throw wrong(`${where}.v`, v, "a whole number from 1 on", "1");
  // kept closed until this app is updated, as one that the shop hands on
  if ((v as number) > BODY_V) return;
  if (what !== "added" && what !== "fields_set" && what !== "removed") throw wrong(`${where}.what`, what, "added, fields_set or removed", '"added"');
  const kinds = Object.keys(what === "added" ? FACTS : what === "fields_set" ? ENTITIES : { ...FACTS, ...ENTITIES });
  if (typeof kind !== "string" || !kinds.includes(kind)) throw wrong(`${where}.kind`, kind, `one of ${kinds.join(", ")}`, `"${kinds[0]}"`);
  const record = body["record"];
  if (what === "added" && !isObject(record)) throw wrong(`${where}.record`, record, `a ${kind}`, '{"id": "..."}');
  const [id, at] = isObject(record) && what === "added" ? [record["id"], "record.id"] : [body["id"], "id"];
  if (!isId(id)) throw wrong(`${where}.${at}`, id, `the id of a ${kind}`, '"0192f0c1-7a10-7000-8000-000000000003"');
  const fields = body["fields"];
  if (what === "fields_set" && (!isObject(fields) || Object.keys(fields).length === 0)) {
    throw wrong(`${where}.fields`, fields, "at least one field", '{"title": "Tablet, no picture"}');
  }
}

function wrong(where: string, given: unknown, expected: string, example: string): NotHandedOver {
  const text = JSON.stringify(given) ?? "nothing";
  return new NotHandedOver(`${where} is ${text.length > 60 ? `${text.slice(0, 60)}...` : text}`, expected, example);
}

function isObject(value: unknown): value is Record<string, unknown> {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

function isId(value: unknown): value is string {
  return typeof value === "string" && ID.test(value);
}
