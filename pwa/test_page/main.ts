/**
 * The inside of the phone without its screens, within reach of a test. Built by
 * `test_page/vite.config.ts` from the same sources as the app, never into the app itself.
 */
import type { Change } from "../src/generated/models";
import { EngineBridge } from "../src/engine_worker/bridge";
import { applyChange } from "../src/store/apply";
import { PhoneDb, type TallyRow } from "../src/store/db";
import type { Live, State } from "../src/store/door";
import { gate } from "../src/store/gate";
import * as hlc from "../src/store/hlc";
import { openInside } from "../src/store/open_door";
import { assembleSheet } from "../src/store/sheet";
import { allReadings, talliesOf } from "../src/store/tally";
import { readSync } from "../src/sync/sync_state";
import tables from "../src/generated/tables.json";
import engineManifest from "../src/generated/engine_manifest.json";

/** The first value of a store that is there and, when asked for, as wanted. */
function once<T>(store: Live<T> | State<T>, wanted: (value: T) => boolean = () => true): Promise<T> {
  return new Promise((resolve) => {
    let stop: (() => void) | undefined;
    let isDone = false;
    stop = store.subscribe((value) => {
      if (isDone || value === undefined || !wanted(value)) return;
      isDone = true;
      resolve(value);
      stop?.();
    });
    if (isDone) stop();
  });
}

/** The record as the vectors write it down: what anybody may see. */
async function stateOf(db: PhoneDb): Promise<object> {
  const facts = (await db.facts.toArray()).filter((row) => row.gone === 0);
  const fields = (await db.fields.toArray()).filter((row) => row.gone === 0);
  return {
    facts: Object.fromEntries(facts.map((row) => [`${row.kind}/${row.id}`, row.record])),
    fields: Object.fromEntries(fields.map((row) => [`${row.kind}/${row.id}`, row.values])),
    removed: (await db.removed.toArray()).map((row) => `${row.kind}/${row.id}`).sort(),
    newer: (await db.newer.toArray()).map((row) => row.id).sort(),
  };
}

/** The record that these changes give, one after the other, in a database of their own. */
async function stateAfter(changes: Change[]): Promise<object> {
  const db = new PhoneDb("alone");
  await db.delete();
  await db.open();
  for (const change of changes) await db.transaction("rw", db.record, () => applyChange(db, change));
  const state = await stateOf(db);
  db.close();
  return state;
}

const given = new Map<string, PhoneDb>();

/** Records by name, each kept over what it is given in portions, as pages are. */
const merge = {
  async begin(name: string): Promise<void> {
    const db = given.get(name) ?? new PhoneDb(name);
    await db.delete();
    await db.open();
    given.set(name, db);
  },
  async reopen(name: string): Promise<void> {
    given.get(name)!.close();
    const db = new PhoneDb(name);
    await db.open();
    given.set(name, db);
  },
  /** What it then holds, what is counted of its readings, and what that should be. */
  async give(name: string, changes: Change[]): Promise<object> {
    const db = given.get(name)!;
    await db.transaction("rw", db.record, async () => {
      for (const change of changes) await applyChange(db, change);
    });
    const counted = await db.tallies.toArray();
    const to_be_counted = talliesOf(await allReadings(db.facts).toArray());
    return { state: await stateOf(db), counted: byOwner(counted), to_be_counted: byOwner(to_be_counted) };
  },
};
const byOwner = (tallies: TallyRow[]): object => Object.fromEntries(tallies.map((tally) => [tally.owner, tally]));

const params = new URLSearchParams(location.search);
// a test that needs a broken or missing engine says so in the address
const manifest = structuredClone(engineManifest);
if (params.has("damaged_engine")) manifest.files["engine.zip"].sha256 = "0".repeat(64);
if (params.has("engine_version")) manifest.version = params.get("engine_version")!;

const inside = openInside(manifest);
/** The shell is cached and answers this page. */
async function offlineReady(): Promise<void> {
  await navigator.serviceWorker.ready;
  if (navigator.serviceWorker.controller !== null) return;
  await new Promise((resolve) => navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true }));
}

/** Proves every step of a job, as the make-safe screen does. */
async function makeSafe(jobId: string): Promise<void> {
  const view = await once(inside.door.job(jobId), (found) => found !== null);
  for (const { step } of view?.gate.steps ?? []) {
    const how = step.proved_by === "hand" ? { done: true } : { measured_mv: 3, at_place: "C1" };
    await inside.door.addProof(jobId, { step: step.id, ...how });
  }
}

Object.assign(window, {
  inside: {
    ...inside,
    ...{ once, gate, hlc, merge, stateAfter, stateOf, tables, offlineReady, makeSafe, engineManifest: manifest },
    EngineBridge,
    readSync: () => readSync(inside.db),
    sheetOf: async (jobId: string) => assembleSheet(inside.db, jobId, {}, await inside.learning.shop()),
  },
});
if (!params.has("alone")) await inside.start();
document.getElementById("state")!.textContent = "ready";
