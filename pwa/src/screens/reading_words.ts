/** The words of the reading screen: how we measure, how one gets there, and the one reminder. */
import { countsDifferently } from "../bench/counting";
import { type LaidRow, moveWords } from "../bench/layout";
import { type Aim, contactOf } from "../bench/plan";
import type { ContactOpinion, Opinion } from "../generated/models";
import type { JobView, StorageState } from "../store/door";
import { kindWords, placeWords, subjectWords, touchWords } from "../ui/words";

/** "red on ground · meter 2, 1.00 mA · 23 °C" */
export function howWeMeasure(view: JobView, aim: Aim | null): string {
  const kind = aim === null || aim.kind === "drop" ? "" : `${kindWords(aim.kind)} · `;
  const lead = aim === null ? "" : aim.lead === null ? "nothing on ground" : `${aim.lead} on ground`;
  const current = view.meter?.test_current_ma;
  const meter = view.meter === null ? "no meter chosen" : view.meter.name;
  const shown = current == null || (aim !== null && aim.kind !== "drop") ? meter : `${meter}, ${current.toFixed(2)} mA`;
  const air = view.job.air_c == null ? "" : `${Math.round(view.job.air_c)} °C`;
  return kind + [lead, shown, air].filter((part) => part !== "").join(" · ");
}

/** How one gets there from the contact touched before, and where on the contact or part the probe stands. */
export function whereWords(rows: readonly LaidRow[], aim: Aim, from: string | null): string {
  const contact = contactOf(aim);
  const subject = aim.subject === "board_socket" ? "" : `, ${subjectWords(aim.subject)}`;
  if (contact === null) return touchWords(aim.touch) + subject;
  const place = aim.place === "spring" ? "" : `, ${placeWords(aim.place)}`;
  return moveWords(rows, from, contact) + place + subject;
}

export interface ReminderLine {
  sentence: string;
  blocks: boolean;
  /** It stands in full on the opinion, so two lines of it do here. */
  short?: boolean;
  /** It leads to the place where it is put right. */
  puts_right?: boolean;
}

/** At most one line: what stops the work first, then what is asked, then what the engine reminds of. */
export function oneReminder(now: {
  flow: { again: string | null; trouble: string | null; begun: boolean };
  byDrawing: boolean;
  opinion: Opinion | null;
  storage: StorageState;
  meter: boolean;
  judged: ContactOpinion | null;
}): ReminderLine | null {
  if (now.flow.trouble !== null) return { sentence: `Not taken: ${now.flow.trouble}`, blocks: true };
  if (now.storage.is === "failed") return { sentence: `Not saved: ${now.storage.why}`, blocks: true };
  if (!now.meter) return { sentence: "No meter chosen: choose one on the job sheet.", blocks: true };
  if (now.flow.again !== null) {
    return { sentence: `${now.flow.again} is out of its band: touch it once more and type what it shows.`, blocks: false };
  }
  const question = now.opinion?.questions?.find((one) => one.reading_id != null && now.judged === null);
  if (question !== undefined) return { sentence: question.sentence, blocks: false };
  if (countsDifferently(now.opinion) && !now.byDrawing) {
    return { sentence: `${now.opinion?.numbering.sentence ?? ""} Put it right.`, blocks: true, puts_right: true };
  }
  const reminders = now.opinion?.reminders ?? [];
  // what stops nothing is said before the first entry: under every contact it would not be read any more
  const reminder = reminders.find((one) => one.blocks === true) ?? (now.flow.begun ? undefined : reminders[0]);
  return reminder === undefined ? null : { sentence: reminder.sentence, blocks: reminder.blocks === true, short: true };
}
