/**
 * The phone's Python under Node: the very files that the phone gets, started once, asked many times.
 *
 * node pyodide_node.mjs ENGINE_MANIFEST PUBLIC_DIR
 * One JSON line in, one JSON line out, in order. First line out: what was started and how long it took.
 * In:  {"sheet": "<bytes of a BenchSheet, base64>"}       out: {"opinion": "<bytes of the Opinion, base64>", "ms": n}
 *      {"run": "<Python source, its last value is text>"} out: {"value": "...", "ms": n}
 * An error in Python: {"error": "<type>: <message>"}; the next line is answered all the same.
 */
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const [manifestPath, publicDir] = process.argv.slice(2);
const manifest = JSON.parse(readFileSync(manifestPath, "utf8"));
const place = (name) => resolve(publicDir, "." + manifest.files[name].url);

// nothing of this process's standard output may be Python's: it carries the answers
const say = (answer) => process.stdout.write(JSON.stringify(answer) + "\n");
const complain = (text) => process.stderr.write(text + "\n");

const started = performance.now();
const { loadPyodide } = await import(pathToFileURL(place("pyodide.mjs")).href);
const python = await loadPyodide({
  indexURL: resolve(place("pyodide.mjs"), "..") + "/",
  stdLibURL: place("python_stdlib.zip"),
  lockFileContents: { info: { ...manifest.lock_info, version: "" }, packages: {} },
  stdout: complain,
  stderr: complain,
});
const booted = performance.now();
python.unpackArchive(new Uint8Array(readFileSync(place("msgspec.whl"))), "whl");
python.unpackArchive(new Uint8Array(readFileSync(place("engine.zip"))), "zip", { extractDir: "/engine" });
const versions = python.runPython(`
import sys
sys.path.insert(0, "/engine")
import json, msgspec
json.dumps({"python": sys.version.split()[0], "msgspec": msgspec.__version__})
`);
const unpacked = performance.now();

// the seam is the phone's own file, so what is asked here is what a worker asks
const seam = new URL("../../pwa/src/engine_worker/seam.py", import.meta.url);
const opinionOf = () => {
  python.runPython(readFileSync(seam, "utf8"), { filename: "seam.py" });
  return python.globals.get("answer");
};
let opinion = null;

const shortError = (problem) => {
  const lines = String(problem.message ?? problem).trim().split("\n");
  return { error: lines[lines.length - 1], traceback: lines.slice(-12).join("\n") };
};

const answer = (request) => {
  const from = performance.now();
  try {
    if (request.run !== undefined) {
      const value = python.runPython(request.run);
      return { value: String(value), ms: performance.now() - from };
    }
    opinion ??= opinionOf();
    const made = opinion(new Uint8Array(Buffer.from(request.sheet, "base64")));
    return { opinion: Buffer.from(made).toString("base64"), ms: performance.now() - from };
  } catch (problem) {
    return shortError(problem);
  }
};

say({ ...JSON.parse(versions), boot_ms: booted - started, unpack_ms: unpacked - booted });
for await (const line of createInterface({ input: process.stdin, crlfDelay: Infinity })) {
  if (line.trim() !== "") say(answer(JSON.parse(line)));
}
process.exit(0);
