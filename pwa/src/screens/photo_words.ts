/** How a photo and its place are said. */
import type { Photo } from "../generated/models";
import type { JobView, PhotoPlace } from "../store/door";
import { counted, whenWords } from "../ui/words";

/** Under a small picture; nothing where all is well. */
export const PLACE_SHORT: Record<PhotoPlace, string> = { waiting: "waiting", known: "", refused: "refused", elsewhere: "" };

export const PLACE_WORDS: Record<PhotoPlace, string> = {
  waiting: "On this phone; waiting for the shop.",
  known: "On this phone and with the shop.",
  refused: "On this phone; the shop refused it. Why stands on the page about the shop.",
  elsewhere: "On its way from another phone, or with the shop.",
};

export function photoName(photo: Photo): string {
  return `Photo of ${whenWords(photo.taken_at_ms)}`;
}

/** What a job's looking has given so far: "2 photos, 1 thing seen". */
export function lookedWords({ photos, observations }: JobView): string {
  const parts = [
    photos.length > 0 ? counted(photos.length, "photo") : "",
    observations.length > 0 ? `${counted(observations.length, "thing")} seen` : "",
  ].filter((part) => part !== "");
  return parts.length === 0 ? "no photos yet" : parts.join(", ");
}
