/**
 * What closed jobs taught: gathered here, said by the engine. Decides: which closings there are (a query), and that
 * the engine is asked anew only when they have changed, so that an opinion costs what it always did.
 */
import type { EngineBridge } from "../engine_worker/bridge";
import type { Closing, Honesty, LearningQuestion, Learnt, Shop, ShopFigures } from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import type { Live } from "./door";
import { visibleEntity, visibleFacts } from "./rows";
import type { Writer } from "./write";

/** The one record of the kind "shop". */
const SHOP_ID = "shop";

export interface LearningDoors {
  /** How many closings there are and whether they move the odds: a page that shows more asks again when it changes. */
  learningState(): Live<LearningState>;
  askLearnt(): Promise<BenchAnswer<Learnt>>;
  askHonesty(): Promise<BenchAnswer<Honesty>>;
  /** `learn`: whether closed jobs move the odds. `learnt_from_ms`: only jobs closed after it count. */
  setLearning(fields: Pick<Partial<ShopFigures>, "learn" | "learnt_from_ms">): Promise<void>;
}

export interface LearningState {
  learn: boolean;
  learnt_from_ms: number;
  /** Changes with every closing that comes or is taken back. */
  mark: string;
}

/** The engine could not say what closed jobs taught: no fault of the record. */
export class NotLearnt extends Error {
  override name = "NotLearnt";
}

/** What the shop's closings say, kept for as long as they are the same. */
export class Learning {
  #kept: { mark: string; shop: Promise<Shop | null> } | null = null;

  constructor(
    private readonly db: PhoneDb,
    private readonly bridge: EngineBridge,
  ) {}

  /** What opinions are formed with beside the table; null before any closing. Rejects with `NotLearnt` where the engine fails. */
  async shop(): Promise<Shop | null> {
    const mark = await onLiveConnection(this.db, () => markOf(this.db));
    if (mark === null) return null;
    if (this.#kept?.mark !== mark) {
      const kept = { mark, shop: this.#ask() };
      this.#kept = kept;
      kept.shop.catch(() => {
        if (this.#kept === kept) this.#kept = null;
      });
    }
    return this.#kept.shop;
  }

  async #ask(): Promise<Shop | null> {
    const answer = await askEngine<Learnt>(this.bridge, "learnt", await question(this.db));
    // the page about learning asked at the same door: its answer went there
    if (answer.is === "overtaken") return this.#ask();
    if (answer.is === "failed") throw new NotLearnt(answer.why);
    return answer.answer.shop ?? null;
  }
}

export function learningDoors(
  db: PhoneDb,
  bridge: EngineBridge,
  writer: Writer,
  asked: (query: () => Promise<LearningState>) => Live<LearningState>,
): LearningDoors {
  return {
    learningState: () => asked(() => readState(db)),
    askLearnt: async () => askEngine<Learnt>(bridge, "learnt", await question(db)),
    askHonesty: async () => askEngine<Honesty>(bridge, "honesty", await question(db)),
    setLearning: (fields) => writer.commit([{ what: "fields_set", kind: "shop", id: SHOP_ID, fields: { ...fields } }]),
  };
}

async function readState(db: PhoneDb): Promise<LearningState> {
  const values = ((await visibleEntity(db, "shop", SHOP_ID))?.values ?? {}) as Partial<ShopFigures>;
  return { learn: values.learn ?? true, learnt_from_ms: values.learnt_from_ms ?? 0, mark: (await markOf(db)) ?? "" };
}

/** Names all that learning rests on by keys alone: a fact never changes. Null: no closing. */
async function markOf(db: PhoneDb): Promise<string | null> {
  const closings = await db.facts.where("[kind+id]").between(["closing", ""], ["closing", "\uffff"]).primaryKeys();
  if (closings.length === 0) return null;
  const removed = await Promise.all([removedOf(db, "closing"), removedOf(db, "job")]);
  const figures = await visibleEntity(db, "shop", SHOP_ID);
  return JSON.stringify([closings.map(([, id]) => id), removed, figures?.stamps ?? null]);
}

async function removedOf(db: PhoneDb, kind: "closing" | "job"): Promise<string[]> {
  const keys = await db.removed.where("[kind+id]").between([kind, ""], [kind, "\uffff"]).primaryKeys();
  return keys.map((key) => (key as unknown as [string, string])[1]);
}

/** Closings that were taken back do not count, nor those of a job that was. */
async function question(db: PhoneDb): Promise<LearningQuestion> {
  const gone = new Set(await removedOf(db, "job"));
  const closings = (await visibleFacts<Closing>(db, "closing")).filter((one) => !gone.has(one.job_id));
  const figures = await visibleEntity(db, "shop", SHOP_ID);
  return { closings, figures: figures === null ? null : { ...(figures.values as Partial<ShopFigures>), id: SHOP_ID } };
}
