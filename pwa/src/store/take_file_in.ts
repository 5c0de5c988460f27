/**
 * Takes in what another phone handed over: what of it is new here, and keeping all of that at once.
 *
 * Changes keep their ids, devices and times and are applied as pulled ones are; beyond that they wait in
 * this phone's outbox, because no server may have them. One that the server has is answered `had`.
 */
import type { Change, Photo } from "../generated/models";
import { isHere } from "./carry";
import { onLiveConnection, type PhoneDb } from "./db";
import { type HandedFile, type HandedPicture, isClosed, readHandedOver } from "./handed_over";
import type { Beside, Writer } from "./write";

/** A device whose edits are in a file, with the names of who worked on it. */
export interface HandedBy {
  device: string;
  actors: string[];
  edits: number;
}

/** What is in a file, before anything of it is kept. */
export interface FileOffer {
  name: string;
  edits: number;
  /** Edits and pictures that are on this phone already: taking the file in does not touch them. */
  edits_here: number;
  pictures: number;
  pictures_here: number;
  /** Pictures that the edits name and that are neither in the file nor here. */
  pictures_missing: number;
  /** Edits made by a newer app: kept, shown after the update. */
  newer: number;
  /** Files in the zip that are neither edits nor pictures; left alone. */
  others: number;
  devices: HandedBy[];
  /** Keeps all that is new, in one transaction. Rejects with a `StoreError` and nothing kept. */
  takeIn(): Promise<void>;
}

export interface FileDoors {
  /** Reads a file that another phone handed over, as a whole; rejects with the sentence that says what is wrong with it. */
  readFileOfPhone(file: File): Promise<FileOffer>;
}

export function fileDoors(db: PhoneDb, writer: Writer): FileDoors {
  return {
    async readFileOfPhone(file) {
      const handed = await readHandedOver(file);
      return onLiveConnection(db, () => offered(db, writer, file.name, handed));
    },
  };
}

async function offered(db: PhoneDb, writer: Writer, name: string, { changes, pictures, others }: HandedFile): Promise<FileOffer> {
  let edits_here = 0;
  for (const change of changes) if (await isHere(db, change)) edits_here += 1;
  const jobs = jobOfPicture(changes);
  const inFile = new Set(pictures.map(({ sha256 }) => sha256));
  const absent = [...jobs.keys()].filter((sha256) => !inFile.has(sha256));
  return {
    name,
    edits: changes.length,
    edits_here,
    pictures: pictures.length,
    pictures_here: await countHere(db, [...inFile]),
    pictures_missing: absent.length - (await countHere(db, absent)),
    newer: changes.filter(isClosed).length,
    others,
    devices: devicesOf(changes),
    takeIn: () => writer.carry(changes, keeping(db, pictures, jobs)),
  };
}

async function countHere(db: PhoneDb, hashes: string[]): Promise<number> {
  return db.photos.where("sha256").anyOf(hashes).count();
}

/** The job of each picture that the changes name. */
function jobOfPicture(changes: readonly Change[]): Map<string, string | null> {
  const jobs = new Map<string, string | null>();
  for (const change of changes) {
    const body = change.body as { what?: string; kind?: string; record?: Partial<Photo> };
    if (isClosed(change) || body.what !== "added" || body.kind !== "photo") continue;
    const { sha256, of } = body.record ?? {};
    if (typeof sha256 === "string") jobs.set(sha256, of?.what === "job" ? of.job_id : null);
  }
  return jobs;
}

function devicesOf(changes: readonly Change[]): HandedBy[] {
  const found = new Map<string, HandedBy>();
  for (const { device, actor = "" } of changes) {
    const by = found.get(device) ?? { device, actors: [], edits: 0 };
    by.edits += 1;
    if (actor !== "" && !by.actors.includes(actor)) by.actors.push(actor);
    found.set(device, by);
  }
  return [...found.values()];
}

function keeping(db: PhoneDb, pictures: readonly HandedPicture[], jobs: Map<string, string | null>): Beside {
  return {
    tables: [db.photos, db.thumbs, db.photo_sends],
    async keep() {
      for (const { sha256, mime, bytes, thumb } of pictures) {
        if ((await db.photos.get(sha256)) !== undefined) continue;
        await db.photos.put({ sha256, mime, bytes });
        await db.thumbs.put({ sha256, mime: "image/jpeg", bytes: thumb });
        await db.photo_sends.put({ sha256, job_id: jobs.get(sha256) ?? null, status: "waiting", problem: null, answered_at_ms: null });
      }
    },
  };
}
