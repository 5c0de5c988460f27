/**
 * What a picture's first bytes say, before anything is unpacked: its kind, its size, and whether the
 * file goes on to its end. A browser draws a picture that breaks off as far as it goes and says nothing.
 */
export interface Header {
  kind: "jpeg" | "png" | "webp" | "heic";
  /** 0 where the first bytes do not say. */
  width: number;
  height: number;
  whole: boolean;
}

/** One marker of a JPEG with what belongs to it: `bytes.subarray(from, to)`. */
export interface Segment {
  marker: number;
  from: number;
  to: number;
}

const HEIC_BRANDS = ["heic", "heix", "hevc", "heim", "heis", "mif1", "msf1"];
const SCAN = 0xda;
const END = 0xd9;

/** `null`: no picture of a kind that is read here. */
export function readHeader(bytes: Uint8Array): Header | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (bytes.length < 12) return null;
  if (view.getUint16(0) === 0xffd8) return jpegHeader(bytes, view);
  if (view.getUint32(0) === 0x89504e47 && bytes.length >= 24) {
    return { kind: "png", width: view.getUint32(16), height: view.getUint32(20), whole: hasPngEnd(bytes, view) };
  }
  if (text(bytes, 0, 4) === "RIFF" && text(bytes, 8, 4) === "WEBP") return webpHeader(bytes, view);
  if (text(bytes, 4, 4) === "ftyp" && HEIC_BRANDS.includes(text(bytes, 8, 4))) {
    return { kind: "heic", width: 0, height: 0, whole: true };
  }
  return null;
}

/** The segments of a JPEG up to its end; the last is the end itself where the file has one. */
export function* segments(bytes: Uint8Array): Generator<Segment> {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let at = 2;
  while (at + 2 <= bytes.length && view.getUint8(at) === 0xff) {
    const marker = view.getUint8(at + 1);
    const from = at;
    if (marker === 0xff) {
      at += 1;
      continue;
    }
    if (marker === END || (marker >= 0xd0 && marker <= 0xd7) || marker === 0x01) at += 2;
    else if (at + 4 <= bytes.length) at += 2 + view.getUint16(at + 2);
    else return;
    if (marker === SCAN) at = endOfScan(bytes, at);
    yield { marker, from, to: at };
    if (marker === END) return;
  }
}

/** Within a scan FF stands before 00 or a restart; before anything else the scan is over. */
function endOfScan(bytes: Uint8Array, begin: number): number {
  for (let at = bytes.indexOf(0xff, begin); at !== -1; at = bytes.indexOf(0xff, at)) {
    const next = bytes[at + 1] ?? -1;
    if (next === 0 || (next >= 0xd0 && next <= 0xd7)) at += 2;
    else if (next === 0xff) at += 1;
    else return at;
  }
  return bytes.length;
}

function jpegHeader(bytes: Uint8Array, view: DataView): Header {
  const header: Header = { kind: "jpeg", width: 0, height: 0, whole: false };
  for (const { marker, from, to } of segments(bytes)) {
    const isFrame = marker >= 0xc0 && marker <= 0xcf && ![0xc4, 0xc8, 0xcc].includes(marker);
    if (isFrame && header.width === 0 && from + 9 <= bytes.length) {
      header.height = view.getUint16(from + 5);
      header.width = view.getUint16(from + 7);
    }
    header.whole = marker === END && to <= bytes.length;
  }
  return header;
}

/** From chunk to chunk: some programs leave something of their own behind the end. */
function hasPngEnd(bytes: Uint8Array, view: DataView): boolean {
  for (let at = 8; at + 12 <= bytes.length; at += 12 + view.getUint32(at)) {
    if (text(bytes, at + 4, 4) === "IEND") return true;
  }
  return false;
}

function webpHeader(bytes: Uint8Array, view: DataView): Header {
  const whole = view.getUint32(4, true) + 8 <= bytes.length;
  const header: Header = { kind: "webp", width: 0, height: 0, whole };
  if (bytes.length < 30) return { ...header, whole: false };
  switch (text(bytes, 12, 4)) {
    case "VP8 ":
      return { ...header, width: view.getUint16(26, true) & 0x3fff, height: view.getUint16(28, true) & 0x3fff };
    case "VP8L": {
      const bits = view.getUint32(21, true);
      return { ...header, width: (bits & 0x3fff) + 1, height: ((bits >>> 14) & 0x3fff) + 1 };
    }
    default:
      return {
        ...header,
        width: (view.getUint32(24, true) & 0xffffff) + 1,
        height: (view.getUint16(27, true) | (view.getUint8(29) << 16)) + 1,
      };
  }
}

function text(bytes: Uint8Array, at: number, length: number): string {
  return String.fromCharCode(...bytes.subarray(at, at + length));
}
