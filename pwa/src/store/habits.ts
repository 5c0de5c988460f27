/**
 * What this device remembers about its own bench: how boards lie under the scope, guided or sweep, the
 * meter last used, which jobs are read by the drawing's numbers. It is no record and never leaves the
 * phone; it lies with the record because a browser that is killed loses what it keeps elsewhere.
 */
import { AS_RECORDED, type View } from "../bench/layout";
import type { Walk } from "../bench/plan";
import { onLiveConnection, type PhoneDb } from "./db";
import type { Live } from "./door";

export interface Habits {
  view: View;
  walk: Walk;
  meter: string | null;
  /** Jobs read by the drawing's numbers, after the counting turned out different; the latest last. */
  by_drawing: string[];
}

export interface HabitDoors {
  habits(): Live<Habits>;
  remember(habits: Partial<Omit<Habits, "by_drawing">>): Promise<void>;
  /** From now on this job's contacts are numbered as drawn. */
  goByDrawing(jobId: string): Promise<void>;
}

const JOBS_REMEMBERED = 50;

export async function readHabits(db: PhoneDb): Promise<Habits> {
  return { view: AS_RECORDED, walk: "guided", meter: null, by_drawing: [], ...((await db.metaOf("habits")) ?? beforeThem()) };
}

export function habitDoors(db: PhoneDb, asked: (query: () => Promise<Habits>) => Live<Habits>): HabitDoors {
  const change = (edit: (habits: Habits) => Partial<Habits>): Promise<void> =>
    onLiveConnection(db, () =>
      db.transaction("rw", db.meta, async () => {
        const habits = await readHabits(db);
        await db.setMeta("habits", { ...habits, ...edit(habits) });
      }),
    );
  return {
    habits: () => asked(() => readHabits(db)),
    remember: (habits) => change(() => habits),
    goByDrawing: (jobId) =>
      change(({ by_drawing }) => ({ by_drawing: [...by_drawing.filter((id) => id !== jobId), jobId].slice(-JOBS_REMEMBERED) })),
  };
}

/** What an app of before this table kept elsewhere; anything that is not understood is left out. */
function beforeThem(): Partial<Habits> {
  const found: Record<string, unknown> = {};
  for (const key of ["view", "walk", "meter", "by_drawing"] as const) {
    try {
      const text = localStorage.getItem(`bench.${key}`);
      if (text !== null) found[key] = JSON.parse(text);
    } catch {
      // a browser that keeps nothing there, or text that is not ours
    }
  }
  return found as Partial<Habits>;
}
