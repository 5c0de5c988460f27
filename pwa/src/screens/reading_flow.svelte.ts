/**
 * The reading screen's memory: the place in hand, what comes after it, the last entry.
 *
 * Rules it keeps: an entry is echoed only after it is on disk; the place in hand changes only by an
 * entry or a press, never because an opinion arrived; a number typed goes to the place that is shown.
 * After an entry it waits `SETTLE_MS` at most for the opinion, so that "once more" can be asked in
 * place; the next key ends that wait.
 */
import { countsDifferently } from "../bench/counting";
import type { Aim, Walk } from "../bench/plan";
import { aimKey, aimOfRow, contactOf, isPlainAim, judgedContacts, nextAlong, plainAim, proposed, readContacts } from "../bench/plan";
import type { DisplayUnit, LeadOnGround, Opinion } from "../generated/models";
import type { Door, JobView, StoredOpinion } from "../store/door";

const SETTLE_MS = 400;

/** What the flow looks at; functions, because all of it changes while the flow lives. */
export interface Around {
  view: () => JobView;
  kept: () => StoredOpinion | null;
  engineReady: () => boolean;
  order: () => readonly string[];
  /** The contacts' numbers are the drawing's, whatever the counting was before. */
  byDrawing: () => boolean;
  /** Digits are typed already: the place must not change under them. */
  typing: () => boolean;
}

export class ReadingFlow {
  aim = $state.raw<Aim | null>(null);
  /** The contact touched before, for the words of the move. */
  from = $state<string | null>(null);
  /** The contact that was asked to be touched once more, while it is in hand. */
  again = $state<string | null>(null);
  trouble = $state<string | null>(null);
  /** Entries on their way to the disk, or waiting for the opinion that may ask for them once more. */
  underway = $state(0);
  /** Something was taken on this visit. */
  begun = $state(false);
  /** Ids of this visit's entries, newest last; the first is the newest there was at the start. */
  taken = $state.raw<string[]>([]);
  lead = $state<LeadOnGround>("red");

  readonly #door: Door;
  readonly #around: Around;
  readonly #walk: Walk;
  #queue: Aim[] = [];
  #askedAgain = new Set<string>();
  #doneSince = new Set<string>();
  /** Touches in another way than a plain drop that were left for later: they need other leads or another range. */
  #leftForLater = new Set<string>();
  #takenContacts = new Set<string>();
  #chain: Promise<void> = Promise.resolve();
  #endWait: (() => void) | null = null;

  constructor(door: Door, around: Around, walk: Walk, first: Aim[]) {
    this.#door = door;
    this.#around = around;
    this.#walk = walk;
    const rows = around.view().stage_rows.filter((row) => row.replaced_by === null);
    const newest = rows[rows.length - 1];
    if (newest !== undefined) {
      this.taken = [newest.reading.id];
      this.from = newest.contact;
    }
    const [aim, ...queue] = first;
    if (aim === undefined) this.#advance(around.kept()?.opinion ?? null);
    else {
      this.aim = aim;
      this.#queue = queue;
    }
  }

  get last(): string | null {
    return this.taken[this.taken.length - 1] ?? null;
  }

  /** The next key was pressed: whatever was waited for, the place is settled now. */
  settle(): void {
    this.#endWait?.();
  }

  take(text: string, unit: DisplayUnit, climbs: boolean): void {
    this.settle();
    this.#then(() => this.#take(text, unit, climbs));
  }

  markLastClimbs(): void {
    this.settle();
    this.#then(async () => {
      const last = this.last;
      if (last === null) return;
      const id = await this.#door.replaceReading(last, { steadiness: "climbs" });
      this.taken = [...this.taken.slice(0, -1), id];
      void this.#ask();
    });
  }

  undoLast(): void {
    this.settle();
    this.#then(async () => {
      const last = this.last;
      const row = this.#around.view().rows.find((one) => one.reading.id === last);
      if (last === null || row === undefined) return;
      await this.#door.takeBack("reading", last, "undone at the keypad");
      this.taken = this.taken.slice(0, -1);
      if (this.aim !== null) this.#queue.unshift(this.aim);
      this.aim = aimOfRow(row);
      this.#doneSince.delete(aimKey(this.aim));
      if (row.contact !== null) {
        this.#takenContacts.delete(row.contact);
        this.#askedAgain.delete(row.contact);
      }
      this.again = null;
      void this.#ask();
    });
  }

  otherLead(): void {
    this.settle();
    const aim = this.aim;
    if (aim?.lead == null) return;
    this.lead = aim.lead === "red" ? "black" : "red";
    this.aim = { ...aim, lead: this.lead };
  }

  /** A contact is taken in hand by a press on it; what would have needed another way is not asked again on this visit. */
  pick(contact: string): void {
    this.settle();
    if (this.aim !== null && !isPlainAim(this.aim, this.lead)) this.#leftForLater.add(aimKey(this.aim));
    this.#queue = [];
    this.again = null;
    this.aim = plainAim(contact, this.lead);
  }

  get #job(): string {
    return this.#around.view().job.id;
  }

  #ask(): ReturnType<Door["askOpinion"]> {
    // a healthy board is what others are judged by; it is not judged while it is read
    if (this.#around.view().job.reference_board_id !== null) return Promise.resolve({ is: "overtaken" });
    return this.#door.askOpinion(this.#job, { mode: this.#walk });
  }

  #then(work: () => Promise<void>): void {
    this.underway += 1;
    this.#chain = this.#chain
      .then(work)
      .catch((error: unknown) => {
        this.trouble = error instanceof Error ? error.message : String(error);
      })
      .finally(() => {
        this.underway -= 1;
      });
  }

  async #take(text: string, unit: DisplayUnit, climbs: boolean): Promise<void> {
    const aim = this.aim;
    if (aim === null) return;
    const { touch, kind, subject, place, lead } = aim;
    const id = await this.#door.addReading(this.#job, {
      touch,
      kind,
      subject,
      place,
      lead_on_ground: lead,
      as_typed: text,
      display_unit: unit,
      ...(this.#around.byDrawing() ? { numbered_as_drawn: true } : {}),
      ...(climbs ? { steadiness: "climbs" as const } : {}),
    });
    this.trouble = null;
    this.again = null;
    this.begun = true;
    this.taken = [...this.taken, id];
    this.#doneSince.add(aimKey(aim));
    const contact = contactOf(aim);
    if (contact !== null) this.#takenContacts.add(contact);
    const opinion = await this.#opinionOrNextKey();
    this.#settleOn(opinion, id, contact);
  }

  /** The opinion with this entry in it, if it comes before the next key and before the wait is over. */
  async #opinionOrNextKey(): Promise<Opinion | null> {
    const asked = this.#ask();
    if (!this.#around.engineReady()) return null;
    let timer: ReturnType<typeof setTimeout> | undefined;
    const over = new Promise<null>((resolve) => {
      this.#endWait = () => resolve(null);
      timer = setTimeout(() => resolve(null), SETTLE_MS);
    });
    const formed = asked.then(
      (answer) => (answer.is === "formed" ? answer.opinion : null),
      () => null,
    );
    const opinion = await Promise.race([formed, over]);
    clearTimeout(timer);
    this.#endWait = null;
    return opinion;
  }

  #settleOn(opinion: Opinion | null, id: string, contact: string | null): void {
    if (opinion !== null) this.#doneSince.clear();
    const judged = opinion?.contacts.find((one) => one.reading_ids?.includes(id) === true);
    if (judged?.touch_again === true && contact !== null && !this.#askedAgain.has(contact) && !this.#around.typing()) {
      this.#askedAgain.add(contact);
      this.again = contact;
      this.from = contact;
      return;
    }
    this.#advance(opinion ?? this.#around.kept()?.opinion ?? null);
  }

  #advance(opinion: Opinion | null): void {
    this.from = (this.aim === null ? null : contactOf(this.aim)) ?? this.from;
    const queued = this.#queue.shift();
    if (queued !== undefined) {
      this.aim = queued;
      return;
    }
    // the engine names contacts as drawn: who still counts differently cannot be guided to them
    const guided = this.#walk === "guided" && (this.#around.byDrawing() || !countsDifferently(opinion));
    const passed = new Set([...this.#doneSince, ...this.#leftForLater]);
    const [aim, ...queue] = guided ? proposed(opinion, passed) : [];
    if (aim !== undefined) {
      this.aim = aim;
      this.#queue = queue;
      return;
    }
    const read = this.#around.byDrawing() ? judgedContacts(opinion) : readContacts(this.#around.view().stage_rows, this.lead);
    for (const contact of this.#takenContacts) read.add(contact);
    const next = nextAlong(this.#around.order(), this.from, read);
    this.aim = next === null ? null : plainAim(next, this.lead);
  }
}
