/**
 * Asks the engine about a job and keeps its last opinion. Decides: what an opinion was formed from, so
 * that a screen can say how many readings it has not seen. The opinion itself is the engine's.
 */
import { get, writable } from "svelte/store";

import type { EngineBridge } from "../engine_worker/bridge";
import type { Mode, Opinion, Stage } from "../generated/models";
import { onLiveConnection, type OpinionRow, type PhoneDb } from "./db";
import type { AskResult, Live, StoredOpinion } from "./door";
import { type Learning, NotLearnt } from "./learning";
import { live } from "./live";
import { factsOf } from "./rows";
import { assembleSheet, type Question, seenOf } from "./sheet";
import type { StorageWatch } from "./storage_state";

export class Opinions {
  /** How many questions about a job are on their way. */
  readonly #asking = writable<Record<string, number>>({});

  constructor(
    private readonly db: PhoneDb,
    private readonly storage: StorageWatch,
    private readonly bridge: EngineBridge,
    private readonly learning: Learning,
  ) {}

  async ask(jobId: string, how: { mode?: Mode; stage?: Stage }): Promise<AskResult> {
    this.#count(jobId, 1);
    try {
      return await this.#ask(jobId, how);
    } catch (error) {
      if (error instanceof NotLearnt) {
        await this.#keepFailure(jobId, error.message);
        return { is: "failed", why: error.message };
      }
      return { is: "failed", why: this.storage.failed(error).message };
    } finally {
      this.#count(jobId, -1);
    }
  }

  async #ask(jobId: string, how: { mode?: Mode; stage?: Stage }): Promise<AskResult> {
    const shop = await this.learning.shop();
    const question = await onLiveConnection(this.db, () => assembleSheet(this.db, jobId, how, shop));
    if ("lacks" in question) return { is: "failed", why: question.lacks };
    const answer = await this.bridge.ask(new TextEncoder().encode(JSON.stringify(question.sheet)));
    if (answer.is === "overtaken") return answer;
    if (answer.is === "failed") {
      await this.#keepFailure(jobId, answer.why);
      return answer;
    }
    const opinion = JSON.parse(new TextDecoder().decode(answer.opinion)) as Opinion;
    await this.#keep(jobId, opinion, question);
    return { is: "formed", opinion };
  }

  async #keep(job_id: string, opinion: Opinion, { sheet, seen }: Question): Promise<void> {
    const row: OpinionRow = { job_id, opinion, formed_at_ms: sheet.asked_at_ms, seen, last_failure: null };
    await onLiveConnection(this.db, () => this.db.opinions.put(row));
  }

  async #keepFailure(job_id: string, why: string): Promise<void> {
    await onLiveConnection(this.db, () => this.db.opinions.update(job_id, { last_failure: why }));
  }

  #count(jobId: string, by: number): void {
    this.#asking.update((now) => ({ ...now, [jobId]: (now[jobId] ?? 0) + by }));
  }

  of(jobId: string): Live<StoredOpinion | null> {
    const stored = live(this.db, this.storage, () => this.#read(jobId));
    return {
      subscribe: (run) => {
        let last: StoredOpinion | null | undefined;
        const tell = (): void => run(last && { ...last, being_renewed: this.#isAsking(jobId) });
        const stops = [stored.subscribe((value) => ((last = value), tell())), this.#asking.subscribe(tell)];
        return () => stops.forEach((stop) => stop());
      },
    };
  }

  #isAsking(jobId: string): boolean {
    return (get(this.#asking)[jobId] ?? 0) > 0;
  }

  async #read(jobId: string): Promise<StoredOpinion | null> {
    const row = await this.db.opinions.get(jobId);
    if (row === undefined) return null;
    const seen = new Set(row.seen);
    const now = seenOf(await factsOf(this.db, "reading", "job_id", jobId));
    return {
      opinion: row.opinion,
      formed_at_ms: row.formed_at_ms,
      before_last_n_readings: now.filter((name) => !seen.has(name)).length,
      being_renewed: false,
      last_failure: row.last_failure,
    };
  }
}
