/**
 * Runs the engine off the page's thread: starts Python, then answers questions one by one.
 * The only file that knows Pyodide; what goes wrong in there leaves as one sentence.
 */
import type { PyodideAPI } from "pyodide";
import type { PyCallable } from "pyodide/ffi";

import type { About, EngineFile, EngineManifest, FromWorker, ToWorker } from "./protocol";
import seam from "./seam.py?raw";

declare const self: DedicatedWorkerGlobalScope;

const ENGINE_FOLDER = "/engine";
let answer: PyCallable | undefined;

self.onmessage = async ({ data }: MessageEvent<ToWorker>): Promise<void> => {
  if (data.is === "start") await start(data.manifest);
  else ask(data.number, data.about, data.sheet);
};

function say(message: FromWorker, transfer: Transferable[] = []): void {
  self.postMessage(message, transfer);
}

async function start(manifest: EngineManifest): Promise<void> {
  try {
    answer = await loadEngine(manifest);
    say({ is: "ready" });
  } catch (error) {
    say({ is: "failed", number: null, why: lastLine(error) });
  }
}

async function loadEngine({ files, lock_info }: EngineManifest): Promise<PyCallable> {
  const address = files["pyodide.mjs"].url;
  const { loadPyodide } = (await import(/* @vite-ignore */ address)) as typeof import("pyodide");
  const wheel = bytesOf(files["msgspec.whl"]);
  const engine = bytesOf(files["engine.zip"]);
  const python = await loadPyodide({
    indexURL: address.slice(0, address.lastIndexOf("/") + 1),
    stdLibURL: files["python_stdlib.zip"].url,
    // an empty list of packages: nothing is ever fetched by name
    lockFileContents: JSON.stringify({ info: { ...lock_info, version: "" }, packages: {} }),
  });
  python.unpackArchive(await wheel, "whl");
  python.unpackArchive(await engine, "zip", { extractDir: ENGINE_FOLDER });
  return seamOf(python);
}

async function bytesOf({ url }: EngineFile): Promise<ArrayBuffer> {
  const response = await fetch(url);
  if (!response.ok) throw new Error(`${url} answered ${response.status}, expected 200`);
  return response.arrayBuffer();
}

function seamOf(python: PyodideAPI): PyCallable {
  python.runPython(`import sys; sys.path.insert(0, "${ENGINE_FOLDER}")`);
  python.runPython(seam, { filename: "seam.py" });
  return python.globals.get("answer") as PyCallable;
}

function ask(number: number, about: About, sheet: Uint8Array): void {
  try {
    if (answer === undefined) throw new Error("the engine was asked before it was started");
    const opinion = answer(sheet, about) as Uint8Array;
    say({ is: "answer", number, opinion }, [opinion.buffer]);
  } catch (error) {
    say({ is: "failed", number, why: lastLine(error) });
  }
}

/** A Python error comes as a whole traceback; its last line says what was wrong. */
function lastLine(error: unknown): string {
  const text = error instanceof Error ? error.message : String(error);
  return text.trim().split("\n").at(-1) ?? text;
}
