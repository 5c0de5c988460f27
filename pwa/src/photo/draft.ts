/**
 * What is noted before the camera opens: for which job, and what was being said with the photo. A phone
 * may end the page while its camera is open; the app then goes back to that place.
 */
import type { NewObservation } from "../store/door";

export const PHOTO_DRAFT = "photo";

/** Nobody's camera is open for longer: what is older is no photo that is still awaited. */
export const PHOTO_DRAFT_MS = 12 * 3600_000;

export interface PhotoDraft {
  job_id: string;
  /** What the photo is to show; null: nothing in particular. */
  observation: NewObservation | null;
  asked_at_ms: number;
}
