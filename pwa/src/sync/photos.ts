/**
 * Sends pictures, after the edits: an edit may name a picture that is still on its way. One that was cut off
 * goes on where the shop says that it broke off.
 */
import type { PhoneDb, PictureRow } from "../store/db";
import * as server from "./server";

/** Sends what waits, until `goOn` says that edits wait again. Throws `Unreachable` or `Trouble`. */
export async function pushPhotos(db: PhoneDb, goOn: () => boolean): Promise<void> {
  for (const sha256 of await db.photo_sends.where("status").equals("waiting").primaryKeys()) {
    if (!goOn()) return;
    const photo = await db.photos.get(sha256);
    if (photo === undefined) {
      const problem = { code: "picture_gone", message: "This phone no longer has the picture, only its record.", given: sha256 };
      await db.photo_sends.update(sha256, { status: "refused", problem, answered_at_ms: Date.now() });
      continue;
    }
    try {
      await send(photo);
      await db.photo_sends.update(sha256, { status: "known", problem: null, answered_at_ms: Date.now() });
    } catch (error) {
      if (!(error instanceof server.Trouble) || !error.isAboutContent) throw error;
      await db.photo_sends.update(sha256, { status: "refused", problem: error.problem, answered_at_ms: Date.now() });
    }
  }
}

async function send(photo: PictureRow): Promise<void> {
  const there = await server.photoThere(photo.sha256, photo.bytes.byteLength);
  if (there === "all") return;
  try {
    await server.putPhoto(photo, there);
  } catch (error) {
    // what was left there is no beginning of this picture
    if (there === 0 || !(error instanceof server.Trouble) || error.status !== 409) throw error;
    await server.putPhoto(photo, 0);
  }
}
