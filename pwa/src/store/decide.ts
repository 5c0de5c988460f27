/**
 * What a technician sets down on the way to a decision: lines before power, the shop's own figures. Nothing is judged
 * here: what a line is worth, and which way comes first, is the engine's to say.
 */
import { uuidv7 } from "uuidv7";

import type { PowerCheck, ShopFigures } from "../generated/models";
import tables from "../generated/tables.json";
import type { PhoneDb } from "./db";
import { type Live, StoreError } from "./door";
import { SHOP_ID, figuresOfShop } from "./sheet";
import { visibleEntity } from "./rows";
import type { Writer } from "./write";

const MOST_MONEY = 1e9;
const MOST_HOURS = 10_000;

export type NewPowerCheck = Pick<PowerCheck, "check"> & Partial<Omit<PowerCheck, "id" | "job_id" | "check" | "checked_at_ms" | "checked_by" | "v">>;
export type WholeFigures = Required<ShopFigures>;
export type FigureFields = Partial<Omit<ShopFigures, "id" | "v">>;

export interface DecideDoors {
  /** A line before power, ticked or taken back. */
  addPowerCheck(jobId: string, check: NewPowerCheck): Promise<string>;
  shopFigures(): Live<WholeFigures>;
  /** Rejects with `wrong_value` where a cost or hours are below zero, or more than the record takes. */
  setShopFigures(fields: FigureFields): Promise<void>;
}

export function decideDoors(
  db: PhoneDb,
  writer: Writer,
  asked: (query: () => Promise<WholeFigures>) => Live<WholeFigures>,
): DecideDoors {
  return {
    async addPowerCheck(jobId, check) {
      if ((await visibleEntity(db, "job", jobId)) === null) {
        throw new StoreError("not_found", `There is no job ${jobId} on this phone, or it was taken back.`);
      }
      const checked_by = (await db.metaOf("actor")) ?? "";
      const record: PowerCheck = { ...check, id: uuidv7(), job_id: jobId, checked_at_ms: Date.now(), checked_by };
      await writer.commit([{ what: "added", kind: "power_check", record }]);
      return record.id;
    },
    shopFigures: () => asked(async () => wholeFigures(await figuresOfShop(db))),
    async setShopFigures(fields) {
      const wrong = senseless(fields);
      if (wrong !== null) throw new StoreError("wrong_value", wrong);
      await writer.commit([{ what: "fields_set", kind: "shop", id: SHOP_ID, fields: { ...fields } }]);
    },
  };
}

function wholeFigures(given: ShopFigures | null): WholeFigures {
  return { ...(tables.defaults.ShopFigures as unknown as Omit<WholeFigures, "id">), ...given, id: SHOP_ID };
}

/** What is wrong with the figures, in words; null: nothing. */
function senseless({ hour_cost, options }: FigureFields): string | null {
  const told = [sentence("An hour", hour_cost, MOST_MONEY, "60")];
  for (const { option, parts_cost, work_h } of options ?? []) {
    const title = tables.options.find(({ id }) => id === option)?.words ?? option;
    told.push(sentence(`Parts of "${title}"`, parts_cost, MOST_MONEY, "4.50"));
    told.push(sentence(`Hours of "${title}"`, work_h, MOST_HOURS, "1.5"));
  }
  return told.find((one) => one !== null) ?? null;
}

function sentence(what: string, given: number | null | undefined, most: number, example: string): string | null {
  if (given != null && given < 0) return `${what}: ${given} is below zero. Nothing costs less than nothing; for example ${example}.`;
  return given != null && given > most ? `${what}: ${given} is too much; for example ${example}.` : null;
}
