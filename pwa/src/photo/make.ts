/**
 * Makes of any picture the one that is kept: upright, at most 2560 px, drawn anew as JPEG so that nothing
 * of the old file (place, device, time) comes along, and only then named by its hash; and a small one
 * beside it for lists.
 */
import { type Header, readHeader } from "./header";
import { stripJpeg } from "./strip";

export const LONG_SIDE_PX = 2560;
const QUALITY = 0.85;
const SMALL_SIDE_PX = 320;
const SMALL_QUALITY = 0.7;
/** Unpacked, a picture takes four bytes a pixel. */
const MOST_MEGAPIXELS = 72;

export interface Picture {
  sha256: string;
  mime: "image/jpeg";
  bytes: ArrayBuffer;
  width_px: number;
  height_px: number;
  thumb: ArrayBuffer;
}

/** Why a file cannot become a photo; `message` is a sentence for the screen. */
export class NoPicture extends Error {
  override name = "NoPicture";
}

export async function makePicture(file: File): Promise<Picture> {
  // read at once: what a camera hands over may not be readable later
  const raw = await file.arrayBuffer().catch(() => {
    throw new NoPicture(`"${file.name}" cannot be read any more. Choose it again.`);
  });
  const header = readHeader(new Uint8Array(raw));
  const said = sentenceAgainst(file, header);
  if (said !== null) throw new NoPicture(said);
  const bitmap = await decoded(new Blob([raw]), file, header?.kind === "heic");
  try {
    const { bytes, width, height } = await drawn(bitmap, LONG_SIDE_PX, QUALITY);
    const small = await drawn(bitmap, SMALL_SIDE_PX, SMALL_QUALITY);
    const sha256 = await hashOf(bytes);
    return { sha256, mime: "image/jpeg", bytes, width_px: width, height_px: height, thumb: small.bytes };
  } finally {
    bitmap.close();
  }
}

/** The small picture of one that came from elsewhere. */
export async function makeThumb(picture: Blob): Promise<ArrayBuffer> {
  const bitmap = await createImageBitmap(picture);
  try {
    return (await drawn(bitmap, SMALL_SIDE_PX, SMALL_QUALITY)).bytes;
  } finally {
    bitmap.close();
  }
}

export async function hashOf(bytes: ArrayBuffer): Promise<string> {
  if (!isSecureContext) throw new Error("Over plain HTTP the browser makes no hashes: photos need the shop's https address.");
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** What was given, what was expected, and an example: as every error here says it. */
function sentence(given: string, expected: string, example: string): string {
  return `${given}. Expected ${expected}; for example ${example}.`;
}

function sentenceAgainst({ name, type, size }: File, header: Header | null): string | null {
  if (header === null) {
    const given = `"${name}" (${type === "" ? "" : `${type}, `}${sizeWords(size)}) is no picture that can be read here`;
    return sentence(given, "a JPEG, PNG or WebP", "a photo as the camera saved it");
  }
  const { width, height } = header;
  const megapixels = (width * height) / 1e6;
  if (megapixels > MOST_MEGAPIXELS) {
    const given = `"${name}" has ${width} × ${height} pixels, ${Math.round(megapixels)} megapixels, too many to be unpacked here`;
    return sentence(given, `at most ${MOST_MEGAPIXELS} megapixels`, "the same picture saved with 4000 × 3000");
  }
  return header.whole ? null : breaksOff(name, size);
}

function breaksOff(name: string, size: number): string {
  return sentence(`"${name}" (${sizeWords(size)}) is damaged or breaks off before its end`, "the whole file", "copied again from the camera");
}

function sizeWords(size: number): string {
  return size < 10_000 ? `${size} bytes` : `${Math.round(size / 1000)} kB`;
}

async function decoded(raw: Blob, { name, size }: File, isHeic: boolean): Promise<ImageBitmap> {
  try {
    return await createImageBitmap(raw, { imageOrientation: "from-image" });
  } catch {
    throw new NoPicture(
      isHeic
        ? sentence(`"${name}" is a HEIC picture, which this browser cannot read`, "a JPEG, PNG or WebP", "the same picture saved as JPEG, or the camera set to JPEG")
        : breaksOff(name, size),
    );
  }
}

async function drawn(bitmap: ImageBitmap, longSide: number, quality: number): Promise<{ bytes: ArrayBuffer; width: number; height: number }> {
  const scale = Math.min(1, longSide / Math.max(bitmap.width, bitmap.height));
  const width = Math.max(1, Math.round(bitmap.width * scale));
  const height = Math.max(1, Math.round(bitmap.height * scale));
  const canvas = new OffscreenCanvas(width, height);
  const context = canvas.getContext("2d");
  if (context === null) throw new NoPicture("This browser has no room to draw the picture. Close other pages, then add it again.");
  // JPEG has no transparency: what is see-through lies on white, as on paper
  context.fillStyle = "#ffffff";
  context.fillRect(0, 0, width, height);
  context.imageSmoothingQuality = "high";
  context.drawImage(bitmap, 0, 0, width, height);
  const blob = await canvas.convertToBlob({ type: "image/jpeg", quality });
  return { bytes: stripJpeg(await blob.arrayBuffer()), width, height };
}
