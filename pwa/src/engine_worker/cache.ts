/**
 * The engine's files on the phone: a second cache, by version, apart from the app's small shell.
 *
 * Decides: that a file is there only when its length and sha256 are those of the manifest, that a
 * whole new version comes before an old one goes, and that an unchanged file is not fetched twice.
 */
import type { EngineFile, EngineManifest } from "./protocol";

const PREFIX = "engine-";

export type Progress = (bytes: number) => void;

/** Fills the cache of this version; gives back when it is whole. Throws with a sentence when it cannot. */
export async function fillEngineCache(manifest: EngineManifest, onProgress: Progress): Promise<void> {
  if (!("caches" in globalThis)) throw new Error("Over plain HTTP the browser keeps no files: opinions need the shop's https address.");
  const cache = await caches.open(PREFIX + manifest.version);
  // one question for all: at a start with everything here the engine waits for nothing else
  const there = new Set((await cache.keys()).map(({ url }) => new URL(url).pathname));
  let before = 0;
  for (const file of Object.values(manifest.files)) {
    if (!there.has(file.url)) await fillOne(cache, file, (bytes) => onProgress(before + bytes));
    before += file.bytes;
    onProgress(before);
  }
  await dropOthers(manifest.version);
}

async function fillOne(cache: Cache, file: EngineFile, onProgress: Progress): Promise<void> {
  const kept = await fromOtherVersion(file);
  await cache.put(file.url, kept ?? (await fetched(file, onProgress)));
}

/** Most files stay the same from version to version: the same address, and the same content. */
async function fromOtherVersion(file: EngineFile): Promise<Response | undefined> {
  for (const name of await engineCaches()) {
    const response = await (await caches.open(name)).match(file.url);
    if (response !== undefined && (await faultOf(file, await response.clone().blob())) === null) return response;
  }
  return undefined;
}

async function fetched(file: EngineFile, onProgress: Progress): Promise<Response> {
  const response = await fetch(file.url);
  if (!response.ok || response.body === null) {
    throw new Error(`${file.url} answered ${response.status}, expected the file`);
  }
  const bytes = await readAll(response.body, onProgress);
  const fault = await faultOf(file, bytes);
  if (fault !== null) throw new Error(fault);
  const type = response.headers.get("content-type") ?? "application/octet-stream";
  return new Response(bytes, { headers: { "content-type": type, "content-length": String(bytes.size) } });
}

async function readAll(body: ReadableStream<Uint8Array<ArrayBuffer>>, onProgress: Progress): Promise<Blob> {
  const parts: Uint8Array<ArrayBuffer>[] = [];
  let bytes = 0;
  const reader = body.getReader();
  for (let step = await reader.read(); !step.done; step = await reader.read()) {
    parts.push(step.value);
    bytes += step.value.byteLength;
    onProgress(bytes);
  }
  return new Blob(parts);
}

/** What is wrong with the content, in words; null when it is the file of the manifest. */
async function faultOf(file: EngineFile, content: Blob): Promise<string | null> {
  if (content.size !== file.bytes) return `${file.url} came with ${content.size} bytes, expected ${file.bytes}`;
  const digest = await crypto.subtle.digest("SHA-256", await content.arrayBuffer());
  const hex = Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex === file.sha256 ? null : `${file.url} came damaged: sha256 ${hex}, expected ${file.sha256}`;
}

async function engineCaches(): Promise<string[]> {
  return (await caches.keys()).filter((name) => name.startsWith(PREFIX));
}

async function dropOthers(version: string): Promise<void> {
  const old = (await engineCaches()).filter((name) => name !== PREFIX + version);
  await Promise.all(old.map((name) => caches.delete(name)));
}
