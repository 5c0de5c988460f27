/**
 * The file of last resort: what no server has taken, as one zip. `changes.json` is a batch that the
 * server's door reads, and each picture lies beside it under its hash, to be looked at with any program.
 * Pictures go in one by one and unpacked as they are: they are compressed already.
 */
import { strToU8, Zip, ZipPassThrough } from "fflate";

import type { PhoneDb } from "./db";
import type { HandedOver } from "./door";

export const CHANGES_FILE = "changes.json";
export const PHOTOS_FOLDER = "photos/";
const ENDINGS: Record<string, string> = { "image/jpeg": "jpg", "image/png": "png", "image/webp": "webp" };

export async function handOver(db: PhoneDb): Promise<HandedOver> {
  const rows = await db.changes.where("status").anyOf("waiting", "refused").sortBy("device_seq");
  const hashes = await db.photo_sends.where("status").anyOf("waiting", "refused").primaryKeys();
  const file = new ZipFile();
  file.add(CHANGES_FILE, strToU8(JSON.stringify({ changes: rows.map((row) => row.change) }, null, 1)));
  let missing = 0;
  for (const sha256 of hashes) {
    const picture = await db.photos.get(sha256);
    if (picture === undefined) missing += 1;
    else file.add(`${PHOTOS_FOLDER}${sha256}.${ENDINGS[picture.mime] ?? "jpg"}`, new Uint8Array(picture.bytes));
  }
  return { file: file.end(), missing };
}

/** Grows in Blobs, which a browser may keep on the disk, so that many pictures need not fit into memory. */
class ZipFile {
  readonly #parts: Blob[] = [];
  #failure: Error | null = null;
  readonly #zip = new Zip((failure, chunk) => {
    if (failure === null) this.#parts.push(new Blob([chunk as Uint8Array<ArrayBuffer>]));
    else this.#failure = failure;
  });

  add(name: string, content: Uint8Array): void {
    const entry = new ZipPassThrough(name);
    this.#zip.add(entry);
    entry.push(content, true);
  }

  end(): Blob {
    this.#zip.end();
    if (this.#failure !== null) throw this.#failure;
    return new Blob(this.#parts, { type: "application/zip" });
  }
}
