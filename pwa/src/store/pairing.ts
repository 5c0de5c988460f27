/** The screens' way to pairing: which phone this is to the shop, getting in, and an owner's list of phones. */
import type { CodeMade, CodeWanted, Phone, Problem } from "../generated/models";
import { pairWith } from "../sync/entry";
import * as server from "../sync/server";
import { onLiveConnection, type PhoneDb } from "./db";
import type { Live } from "./door";

/** `phone`: what the shop called it when it was paired. `refused`: why the shop does not let it in now. */
export interface PairingState {
  phone: Phone | null;
  refused: Problem | null;
}

export interface PairingDoors {
  pairing(): Live<PairingState>;
  /** Pairs this phone; rejects with an error whose message is the shop's. What waits is sent after it. */
  pair(code: string): Promise<void>;
  /** For owners; these reject like `pair` when the shop refuses or cannot be reached. */
  makeCode(wanted: CodeWanted): Promise<CodeMade>;
  phones(): Promise<Phone[]>;
  revoke(phoneId: string): Promise<void>;
}

export function pairingDoors(
  db: PhoneDb,
  asked: (query: () => Promise<PairingState>) => Live<PairingState>,
  syncNow: () => Promise<void>,
): PairingDoors {
  return {
    pairing: () =>
      asked(async () => ({
        phone: (await db.metaOf("paired_as")) ?? null,
        refused: (await db.metaOf("entry_refused")) ?? null,
      })),
    pair: async (code) => {
      await onLiveConnection(db, () => pairWith(db, code));
      void syncNow();
    },
    makeCode: (wanted) => server.makeCode(wanted),
    phones: async () => [...(await server.phones()).phones],
    revoke: async (phoneId) => void (await server.revokePhone(phoneId)),
  };
}
