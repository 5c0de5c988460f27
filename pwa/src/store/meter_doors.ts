/**
 * Meters: their sheets from known resistors, two of them on the same contacts. The engine answers; here is only
 * which readings of the record were made of one contact with both.
 */
import type { EngineBridge } from "../engine_worker/bridge";
import type { MeterPair, MeterPairQuestion, MeterSheet, MeterSheetQuestion, Reading, SameContact } from "../generated/models";
import { askEngine, type BenchAnswer } from "./bench_answers";
import { onLiveConnection, type PhoneDb } from "./db";
import { visibleFacts } from "./rows";

export interface MeterDoors {
  askMeterSheet(question: MeterSheetQuestion): Promise<BenchAnswer<MeterSheet>>;
  askMeterPair(question: MeterPairQuestion): Promise<BenchAnswer<MeterPair>>;
  /** Contacts of one board read with both meters, red on ground, in the same air: the newest of each, in millivolts. */
  readWithBoth(first: string, second: string): Promise<SameContact[]>;
}

export function meterDoors(db: PhoneDb, bridge: EngineBridge): MeterDoors {
  return {
    askMeterSheet: (question) => askEngine<MeterSheet>(bridge, "meter_sheet", question),
    askMeterPair: (question) => askEngine<MeterPair>(bridge, "meter_pair", question),
    readWithBoth: (first, second) => onLiveConnection(db, () => readWithBoth(db, first, second)),
  };
}

/** Where a reading was made: the same board (or job), socket, contact and air. Null: not a plain drop at a spring. */
function placeOf(reading: Reading): { key: string; contact: string } | null {
  const { touch, of, kind, lead_on_ground, place, subject, stage, socket, air_c } = reading;
  if (touch.what !== "contact" || kind !== "drop" || (lead_on_ground ?? "red") !== "red") return null;
  if ((place ?? "spring") !== "spring" || (subject ?? "board_socket") !== "board_socket") return null;
  const whose = of.what === "job" ? of.job_id : of.reference_board_id;
  return { key: JSON.stringify([whose, stage ?? "before_repair", socket, touch.contact, air_c ?? null]), contact: touch.contact };
}

/** The display as a number of millivolts, or OL as typed; null for a text that is neither. */
function shownMv({ as_typed, display_unit }: Reading): string | null {
  const plain = as_typed.trim().replace(",", ".");
  if (plain.toUpperCase() === "OL") return "OL";
  const value = Number(plain);
  if (plain === "" || !Number.isFinite(value)) return null;
  return String(display_unit === "V" ? Math.round(value * 1e6) / 1e3 : value);
}

async function readWithBoth(db: PhoneDb, first: string, second: string): Promise<SameContact[]> {
  const all = await visibleFacts<Reading>(db, "reading");
  const replaced = new Set(all.map((reading) => reading.supersedes ?? ""));
  const places = new Map<string, { contact: string; first?: string; second?: string }>();
  const readings = all.filter(({ id, meter_id }) => !replaced.has(id) && (meter_id === first || meter_id === second));
  for (const reading of readings.sort((a, b) => a.taken_at_ms - b.taken_at_ms)) {
    const [at, shown] = [placeOf(reading), shownMv(reading)];
    if (at === null || shown === null) continue;
    const place = places.get(at.key) ?? { contact: at.contact };
    places.set(at.key, { ...place, [reading.meter_id === first ? "first" : "second"]: shown });
  }
  return [...places.values()].flatMap(({ contact, first: first_shown, second: second_shown }) =>
    first_shown === undefined || second_shown === undefined ? [] : [{ contact, first_shown, second_shown }],
  );
}
