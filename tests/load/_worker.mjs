/**
 * The phone's Python in a worker of a browser, for timing: started from the built files, asked by messages.
 * In:  {manifest, seam}, then {sheet: Uint8Array} or {run: "<Python source>"}.
 * Out: {ready: true}, then {opinion: n bytes, ms} or {value, ms}; {error} when Python raised something.
 * Timed inside the worker: what the message itself costs is not the engine's.
 */
let python;
let answer;

async function start({ files, lock_info }, seam) {
  const address = files["pyodide.mjs"].url;
  const { loadPyodide } = await import(address);
  python = await loadPyodide({
    indexURL: address.slice(0, address.lastIndexOf("/") + 1),
    stdLibURL: files["python_stdlib.zip"].url,
    lockFileContents: JSON.stringify({ info: { ...lock_info, version: "" }, packages: {} }),
  });
  for (const [name, format, options] of [["msgspec.whl", "whl", {}], ["engine.zip", "zip", { extractDir: "/engine" }]]) {
    const response = await fetch(files[name].url);
    if (!response.ok) throw new Error(`${files[name].url} answered ${response.status}`);
    python.unpackArchive(await response.arrayBuffer(), format, options);
  }
  python.runPython('import sys; sys.path.insert(0, "/engine")');
  return () => {
    python.runPython(seam, { filename: "seam.py" });
    return python.globals.get("answer");
  };
}

let openSeam;
self.onmessage = async ({ data }) => {
  try {
    if (data.manifest !== undefined) {
      openSeam = await start(data.manifest, data.seam);
      self.postMessage({ ready: true });
      return;
    }
    if (data.sheet !== undefined) answer ??= openSeam();
    const from = performance.now();
    const value = data.sheet !== undefined ? answer(data.sheet).byteLength : String(python.runPython(data.run));
    self.postMessage({ value, ms: performance.now() - from });
  } catch (problem) {
    self.postMessage({ error: String(problem.message ?? problem) });
  }
};
