/**
 * Python as it is, with nothing of ours: the same files from the same cache, only not the engine.
 * In: the manifest. Out: {ready: true} or {error}.
 */
self.onmessage = async ({ data: { files, lock_info } }) => {
  try {
    const address = files["pyodide.mjs"].url;
    const { loadPyodide } = await import(address);
    await loadPyodide({
      indexURL: address.slice(0, address.lastIndexOf("/") + 1),
      stdLibURL: files["python_stdlib.zip"].url,
      lockFileContents: JSON.stringify({ info: { ...lock_info, version: "" }, packages: {} }),
    });
    self.postMessage({ ready: true });
  } catch (problem) {
    self.postMessage({ error: String(problem.message ?? problem) });
  }
};
