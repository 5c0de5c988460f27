/** Puts the inside of the phone together: database, writer, sync, engine; gives the door of it. */
import { EngineBridge } from "../engine_worker/bridge";
import type { EngineManifest } from "../engine_worker/protocol";
import type { BoardVersion } from "../generated/models";
import engineManifest from "../generated/engine_manifest.json";
import { AppUpdate } from "../sw_update";
import { tokenFromRecord } from "../sync/entry";
import { SyncRunner } from "../sync/runner";
import { readSync, syncState } from "../sync/sync_state";
import { benchDoors } from "./bench_answers";
import { boardFileDoors } from "./board_files";
import { boardDoors } from "./boards";
import { applyKeptNewer } from "./catch_up";
import { closingDoors } from "./closings";
import { onLiveConnection, PhoneDb } from "./db";
import type { Door, Live } from "./door";
import { decideDoors } from "./decide";
import { drafts } from "./drafts";
import { edits } from "./edits";
import { handOver } from "./export";
import { habitDoors } from "./habits";
import { handBackDoors } from "./hand_back";
import { healthyDoors } from "./healthy";
import { Learning, learningDoors } from "./learning";
import { live } from "./live";
import { meterDoors } from "./meter_doors";
import { pairingDoors } from "./pairing";
import { Opinions } from "./opinions";
import { Pictures } from "./photos";
import { railDoors } from "./rail_doors";
import { readJob, readMeters } from "./read_job";
import { readTrays } from "./read_trays";
import { visibleFacts } from "./rows";
import { StorageWatch } from "./storage_state";
import { fileDoors } from "./take_file_in";
import { mendTallies } from "./tally";
import { Writer } from "./write";

/** What can wait until the first screen stands. */
const MEND_AFTER_MS = 2000;

export interface Inside {
  door: Door;
  db: PhoneDb;
  bridge: EngineBridge;
  learning: Learning;
  /** Starts talking to the server and looking for newer apps. */
  start(): Promise<void>;
}

function makeEngineWorker(): Worker {
  return new Worker(new URL("../engine_worker/worker.ts", import.meta.url), { type: "module" });
}

export function openInside(manifest: EngineManifest = engineManifest): Inside {
  const db = new PhoneDb();
  tokenFromRecord(db);
  const storage = new StorageWatch();
  const runner = new SyncRunner(db);
  const bridge = new EngineBridge(manifest, makeEngineWorker);
  const learning = new Learning(db, bridge);
  const opinions = new Opinions(db, storage, bridge, learning);
  const pictures = new Pictures(db);
  const update = new AppUpdate();
  const writer = new Writer(db, storage, () => {
    void storage.askToPersist();
    void runner.now();
  });
  const asked = <T>(query: () => Promise<T>): Live<T> => live(db, storage, query);
  const sync = syncState(asked(() => readSync(db)), runner.running);

  const door: Door = {
    trays: () => asked(() => readTrays(db)),
    job: (jobId) => asked(() => readJob(db, jobId)),
    opinion: (jobId) => opinions.of(jobId),
    boards: () => asked(() => visibleFacts<BoardVersion>(db, "board_version")),
    meters: () => asked(() => readMeters(db)),
    actor: () => asked(async () => (await db.metaOf("actor")) ?? ""),
    picture: (sha256, size) => pictures.show(sha256, size),
    sync,
    engine: bridge.state,
    storage: storage.state,
    update: update.state,
    ...edits(db, writer),
    ...boardDoors(db, writer, bridge),
    ...boardFileDoors,
    ...decideDoors(db, writer, asked),
    ...drafts(db, storage),
    ...fileDoors(db, writer),
    ...habitDoors(db, asked),
    ...handBackDoors(db, writer, bridge, learning, asked),
    ...healthyDoors(db, storage, bridge, writer),
    setActor: (name) => onLiveConnection(db, () => db.setMeta("actor", name)),
    askOpinion: (jobId, how = {}) => opinions.ask(jobId, how),
    ...benchDoors(bridge),
    ...closingDoors(db, bridge, learning, writer, asked),
    ...learningDoors(db, bridge, writer, asked),
    ...meterDoors(db, bridge),
    ...railDoors(db, bridge, learning, writer, asked),
    ...pairingDoors(db, asked, () => runner.now()),
    startEngine: () => bridge.start(),
    syncNow: () => runner.now(),
    handOver: () => onLiveConnection(db, () => handOver(db)),
    takeUpdate: async () => {
      update.setDrafts(await db.drafts.count());
      update.take();
    },
  };

  async function start(): Promise<void> {
    asked(() => db.drafts.count()).subscribe((count) => update.setDrafts(count ?? 0));
    sync.subscribe(({ waiting, photos_waiting }) => void navigator.setAppBadge?.(waiting + photos_waiting).catch(() => undefined));
    bridge.watchVisibility(document);
    await applyKeptNewer(db).catch((error: unknown) => void storage.failed(error));
    runner.watch();
    setTimeout(() => void mendTallies(db).catch((error: unknown) => void storage.failed(error)), MEND_AFTER_MS);
    // the development server has no service worker to offer
    if (import.meta.env.PROD) await update.register("/sw.js");
  }

  return { door, db, bridge, learning, start };
}
