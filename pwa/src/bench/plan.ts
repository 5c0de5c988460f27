/**
 * Where the probe goes next on the reading screen. The engine proposes touches; this turns them into
 * a queue, or walks the socket in order. It changes only when an entry is made, never by itself.
 */
import type {
  Contact,
  ContactCorrection,
  LeadOnGround,
  NextTouch,
  Opinion,
  Place,
  ReadingKind,
  Socket,
  Subject,
  Touch,
} from "../generated/models";
import type { ReadingRow } from "../store/door";

/** One place to touch and how. */
export interface Aim {
  touch: Touch;
  kind: ReadingKind;
  subject: Subject;
  place: Place;
  lead: LeadOnGround | null;
  title: string;
}

/** How the next place is chosen. */
export type Walk = "guided" | "sweep";

export function contactOf(aim: Aim): string | null {
  return aim.touch.what === "contact" ? aim.touch.contact : null;
}

/** The socket's contacts by number, with what somebody learnt about them later: the newest word counts. */
export function correctedContacts(
  socket: Pick<Socket, "contacts" | "ref">,
  corrections: readonly ContactCorrection[],
): Map<string, Contact> {
  const contacts = new Map(socket.contacts.map((contact) => [contact.number, contact]));
  const oldestFirst = [...corrections].sort((a, b) => a.made_at_ms - b.made_at_ms || (a.id < b.id ? -1 : 1));
  for (const { socket: of, contact: number, name, role } of oldestFirst) {
    const contact = contacts.get(number);
    if (of !== socket.ref || contact === undefined) continue;
    contacts.set(number, { ...contact, ...(name == null ? {} : { name }), ...(role == null ? {} : { role }) });
  }
  return contacts;
}

/** The contacts a touch is on. */
export function contactsOf(touch: Touch): string[] {
  if (touch.what === "contact") return [touch.contact];
  return touch.what === "between" ? [touch.contact_a, touch.contact_b] : [];
}

/** The contact whose path or net a touch elsewhere belongs to: where in the socket it is about. */
export function nearestContact(socket: Pick<Socket, "contacts">, touch: Touch): string | null {
  const found = socket.contacts.find((contact) => {
    if (touch.what === "rail") return contact.net === touch.net;
    return contact.path?.some((element) =>
      touch.what === "test_point"
        ? element.what === "test_point" && element.name === touch.name
        : (touch.what === "part_end" || touch.what === "across_part") && "part" in element && element.part === touch.part,
    );
  });
  return found?.number ?? null;
}

/** A plain drop at the spring of a contact. */
export function plainAim(contact: string, lead: LeadOnGround): Aim {
  return {
    touch: { what: "contact", contact },
    kind: "drop",
    subject: "board_socket",
    place: "spring",
    lead,
    title: "",
  };
}

/** Says whether a touch goes on as the last ones: a drop at a contact's spring with this lead on ground. */
export function isPlainAim(aim: Aim, lead: LeadOnGround): boolean {
  const contact = contactOf(aim);
  return contact !== null && aimKey(aim) === aimKey(plainAim(contact, lead));
}

/** The places of one proposal: itself, or each contact of its run. */
export function aimsOf(next: NextTouch): Aim[] {
  const one: Aim = {
    touch: next.touch,
    kind: next.kind,
    subject: next.subject ?? "board_socket",
    place: next.place ?? "spring",
    lead: next.lead_on_ground === undefined ? "red" : next.lead_on_ground,
    title: next.title,
  };
  const run = next.run ?? [];
  return run.length === 0 ? [one] : run.map((contact) => ({ ...one, touch: { what: "contact", contact } }));
}

function isPlain(row: ReadingRow, lead: LeadOnGround): boolean {
  const { kind, subject, place, lead_on_ground } = row.reading;
  return (
    kind === "drop" &&
    (subject ?? "board_socket") === "board_socket" &&
    (place ?? "spring") === "spring" &&
    (lead_on_ground === undefined ? "red" : lead_on_ground) === lead
  );
}

/** Contacts that already have a plain drop with this lead on ground. */
export function readContacts(rows: readonly ReadingRow[], lead: LeadOnGround): Set<string> {
  const read = new Set<string>();
  for (const row of rows) {
    if (row.contact !== null && row.replaced_by === null && isPlain(row, lead)) read.add(row.contact);
  }
  return read;
}

/** Contacts as drawn that have been touched, whatever number was written for them. */
export function judgedContacts(opinion: Opinion | null): Set<string> {
  const touched = (opinion?.contacts ?? []).filter((one) => (one.touches ?? 0) > 0);
  return new Set(touched.map((one) => one.contact));
}

/** The next contact along the way that is not read yet, from after `from`, once round; null: all read. */
export function nextAlong(order: readonly string[], from: string | null, read: ReadonlySet<string>): string | null {
  const start = from === null ? -1 : order.indexOf(from);
  for (let step = 1; step <= order.length; step += 1) {
    const contact = order[(start + step) % order.length];
    if (contact !== undefined && !read.has(contact)) return contact;
  }
  return null;
}

/** Says whether two aims are the same touch in the same way. */
export function aimKey(aim: Aim): string {
  return JSON.stringify([aim.touch, aim.kind, aim.subject, aim.place, aim.lead]);
}

/**
 * The engine's next places, without those touched since that opinion was formed (`doneSince`, by
 * `aimKey`); empty: it proposes nothing to read.
 */
export function proposed(opinion: Opinion | null, doneSince: ReadonlySet<string>): Aim[] {
  for (const next of opinion?.next ?? []) {
    const open = isRead(next) ? aimsOf(next).filter((aim) => !doneSince.has(aimKey(aim))) : [];
    if (open.length > 0) return open;
  }
  return [];
}

/** Whether a proposal is a reading (and not "reseat" or "try a known-good screen"). */
export function isRead(next: NextTouch): boolean {
  return next.action === undefined || ["read", "retouch", "other_polarity"].includes(next.action);
}

/** A row's own place, to touch it again. */
export function aimOfRow(row: ReadingRow): Aim {
  const { touch, kind, subject, place, lead_on_ground } = row.reading;
  return {
    touch,
    kind,
    subject: subject ?? "board_socket",
    place: place ?? "spring",
    lead: lead_on_ground === undefined ? "red" : lead_on_ground,
    title: "",
  };
}
