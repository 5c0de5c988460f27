/**
 * What this device remembers about its own bench: how boards lie under the scope, the meter last
 * used, guided or sweep. It is no record: lost, it costs one tap, so it stays out of the shop's data.
 */
import type { View } from "./layout";
import { AS_RECORDED } from "./layout";
import type { Walk } from "./plan";

function read<T>(key: string, otherwise: T): T {
  try {
    const text = localStorage.getItem(`bench.${key}`);
    return text === null ? otherwise : (JSON.parse(text) as T);
  } catch {
    // a browser that keeps nothing here, or text that is not ours: start from the default
    return otherwise;
  }
}

function write(key: string, value: unknown): void {
  try {
    localStorage.setItem(`bench.${key}`, JSON.stringify(value));
  } catch {
    // not kept; the choice holds until the page closes
  }
}

export function rememberedView(): View {
  return { ...AS_RECORDED, ...read<Partial<View>>("view", {}) };
}

export function rememberView(view: View): void {
  write("view", view);
}

export function rememberedWalk(): Walk {
  return read<Walk>("walk", "guided") === "sweep" ? "sweep" : "guided";
}

export function rememberWalk(walk: Walk): void {
  write("walk", walk);
}

/** Whether this job is read by the drawing's numbers, after the counting turned out different. */
export function goesByDrawing(jobId: string): boolean {
  return read<string[]>("by_drawing", []).includes(jobId);
}

const JOBS_REMEMBERED = 50;

export function goByDrawing(jobId: string): void {
  const others = read<string[]>("by_drawing", []).filter((id) => id !== jobId);
  write("by_drawing", [...others, jobId].slice(-JOBS_REMEMBERED));
}

export function rememberedMeter(): string | null {
  return read<string | null>("meter", null);
}

export function rememberMeter(meterId: string): void {
  write("meter", meterId);
}
