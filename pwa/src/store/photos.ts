/**
 * Pictures on this phone: the whole ones, small ones for lists, and how far each is on its way.
 *
 * Decides: that a picture and its record are kept in one transaction; that pictures are plain bytes in
 * rows of their own (some browsers cannot store Blobs, and a list must not read whole pictures); and that
 * one from another phone is kept here once it has been seen.
 */
import { uuidv7 } from "uuidv7";

import type { Body, Photo } from "../generated/models";
import { hashOf, makeThumb, type Picture } from "../photo/make";
import * as server from "../sync/server";
import { onLiveConnection, type PhoneDb } from "./db";
import type { PhotoPlace } from "./door";
import { visibleFacts } from "./rows";
import type { Beside } from "./write";

/** The record of a picture that was just made. */
export function newPhoto(job_id: string, { sha256, mime, bytes, width_px, height_px }: Picture): Photo {
  const of = { what: "job", job_id } as const;
  return { id: uuidv7(), of, sha256, mime, size_bytes: bytes.byteLength, width_px, height_px, taken_at_ms: Date.now() };
}

/** What goes into the transaction of a photo's record. */
export function keeping(db: PhoneDb, jobId: string, picture: Picture): Beside {
  const { sha256, mime, bytes, thumb } = picture;
  return {
    tables: [db.photos, db.thumbs, db.photo_sends],
    async keep() {
      await db.photos.put({ sha256, mime, bytes });
      await db.thumbs.put({ sha256, mime, bytes: thumb });
      const send = await db.photo_sends.get(sha256);
      if (send?.status === "known") return; // the same picture once more
      await db.photo_sends.put({ sha256, job_id: jobId, status: "waiting", problem: null, answered_at_ms: null });
    },
  };
}

/** What goes into the transaction that takes a photo back: its picture leaves this phone, sent or not. */
export function forgetting(db: PhoneDb, photoId: string): Beside {
  return {
    tables: [db.photos, db.thumbs, db.photo_sends],
    async keep() {
      const taken = await db.facts.get(["photo", photoId]);
      if (taken === undefined) return;
      const { sha256 } = taken.record as unknown as Photo;
      const others = await visibleFacts<Photo>(db, "photo");
      if (others.some((photo) => photo.sha256 === sha256)) return; // the same picture stands in another place too
      await Promise.all([db.photos.delete(sha256), db.thumbs.delete(sha256), db.photo_sends.delete(sha256)]);
    },
  };
}

/** Where each picture is, by its hash. */
export async function placesOf(db: PhoneDb, photos: readonly Photo[]): Promise<Record<string, PhotoPlace>> {
  const sends = await db.photo_sends.bulkGet(photos.map(({ sha256 }) => sha256));
  return Object.fromEntries(photos.map(({ sha256 }, at) => [sha256, sends[at]?.status ?? "elsewhere"]));
}

/** Pictures for the screen, one fetch at a time. */
export class Pictures {
  #fetching: Promise<unknown> = Promise.resolve();

  constructor(private readonly db: PhoneDb) {}

  /** `null`: it is neither here nor, just now, to be had from the shop. */
  async show(sha256: string, size: "thumb" | "whole"): Promise<Blob | null> {
    const kept = await this.#kept(sha256, size);
    if (kept !== null) return kept;
    const next = this.#fetching.then(() => this.#fromShop(sha256, size));
    this.#fetching = next.catch(() => undefined);
    return next;
  }

  async #kept(sha256: string, size: "thumb" | "whole"): Promise<Blob | null> {
    const { db } = this;
    const row = await onLiveConnection(db, () => (size === "thumb" ? db.thumbs : db.photos).get(sha256));
    return row === undefined ? null : new Blob([row.bytes], { type: row.mime });
  }

  async #fromShop(sha256: string, size: "thumb" | "whole"): Promise<Blob | null> {
    const { db } = this;
    const kept = await this.#kept(sha256, size);
    if (kept !== null) return kept;
    const picture = await server.getPhoto(sha256);
    if (picture === null || (await hashOf(picture.bytes)) !== sha256) return null;
    const whole = new Blob([picture.bytes], { type: picture.mime });
    const thumb = await makeThumb(whole);
    await db
      .transaction("rw", [db.photos, db.thumbs, db.photo_sends], async () => {
        await db.photos.put({ sha256, ...picture });
        await db.thumbs.put({ sha256, mime: "image/jpeg", bytes: thumb });
        await db.photo_sends.put({ sha256, job_id: null, status: "known", problem: null, answered_at_ms: Date.now() });
      })
      // no room to keep another phone's picture: it is shown all the same
      .catch(() => undefined);
    return size === "whole" ? whole : new Blob([thumb], { type: "image/jpeg" });
  }
}

/** The bodies of a photo and of what was seen in it. */
export function photoBodies(photo: Photo, observation: { id: string } | null): Body[] {
  const bodies: Body[] = [{ what: "added", kind: "photo", record: photo }];
  if (observation !== null) bodies.push({ what: "added", kind: "observation", record: { ...observation, photo_id: photo.id } });
  return bodies;
}
