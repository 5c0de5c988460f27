/** What page and engine worker say to each other; no logic. */

export interface EngineFile {
  url: string;
  bytes: number;
  sha256: string;
}

/** The generated `engine_manifest.json`. */
export interface EngineManifest {
  version: string;
  total_bytes: number;
  lock_info: Record<string, string>;
  files: Record<"pyodide.mjs" | "pyodide.asm.mjs" | "pyodide.asm.wasm" | "python_stdlib.zip" | "msgspec.whl" | "engine.zip", EngineFile>;
}

/** The doors of the engine, by the names of `seam.py`. */
export type About = "opinion" | "discharge" | "overstress" | "meter_sheet" | "meter_pair" | "healthy_bands" | "pin_columns" | "pin_table" | "reference_file" | "proof" | "short_rail" | "learnt" | "honesty" | "closing" | "owner_page" | "technician_sheet" | "readings_file";

export type ToWorker =
  | { is: "start"; manifest: EngineManifest }
  | { is: "ask"; number: number; about: About; sheet: Uint8Array };

/** `number` is the question's; `failed` without one is about the start. */
export type FromWorker =
  | { is: "ready" }
  | { is: "answer"; number: number; opinion: Uint8Array }
  | { is: "failed"; number: number | null; why: string };
