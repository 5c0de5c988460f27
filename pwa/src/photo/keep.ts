/** Pictures into a job, one after the other: each is kept or told about by itself. */
import { type Door, type NewObservation, StoreError } from "../store/door";
import { makePicture } from "./make";

export interface Kept {
  kept: number;
  /** A sentence for each that could not be kept. */
  troubles: string[];
}

/** `observation` goes with the first picture, in the transaction that keeps it; so does the end of the draft. */
export async function keepPictures(
  door: Pick<Door, "addPhoto">,
  jobId: string,
  files: readonly File[],
  how: { observation?: NewObservation; draftKey?: string } = {},
): Promise<Kept> {
  const done: Kept = { kept: 0, troubles: [] };
  for (const file of files) {
    try {
      await door.addPhoto(jobId, await makePicture(file), done.kept === 0 ? how : {});
      done.kept += 1;
    } catch (error) {
      done.troubles.push(sentenceOf(file, error));
    }
  }
  return done;
}

function sentenceOf(file: File, error: unknown): string {
  // what to do about it stands in the frame about the storage
  if (error instanceof StoreError && error.code === "storage_full") return `"${file.name}" is not kept: the storage is full.`;
  return error instanceof Error ? error.message : String(error);
}
