/**
 * Leaves of a JPEG what draws the picture, and nothing else. A picture drawn anew carries nothing of the
 * old file, but some browsers write a block of their own into what they encode.
 */
import { segments } from "./header";

const KEPT_APPS = new Set([0xe0, 0xe2, 0xee]); // JFIF, the colour profile, how the colours are coded
const COMMENT = 0xfe;

export function stripJpeg(jpeg: ArrayBuffer): ArrayBuffer {
  const bytes = new Uint8Array(jpeg);
  const parts: Uint8Array<ArrayBuffer>[] = [bytes.slice(0, 2)];
  for (const { marker, from, to } of segments(bytes)) {
    const isApp = marker >= 0xe0 && marker <= 0xef;
    if (marker === COMMENT || (isApp && !KEPT_APPS.has(marker))) continue;
    parts.push(bytes.slice(from, to));
  }
  const clean = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    clean.set(part, at);
    at += part.length;
  }
  return clean.buffer;
}
