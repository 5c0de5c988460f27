/** Talking to the shop's server: addresses, time limits, and the three ways an answer can be none. */
import type {
  BatchAnswer,
  BoardReading,
  Change,
  ChangePage,
  CodeMade,
  CodeWanted,
  Me,
  Paired,
  Phone,
  PhoneList,
  Problem,
  ProblemAnswer,
  TracedSocket,
} from "../generated/models";

const PUSH_MS = 30_000;
const PULL_MS = 30_000;
/** A picture of some 4 MB over a poor wireless network. */
const PHOTO_MS = 120_000;
const PAGE = 500;
const ASK_MS = 15_000;
const OFFSET = "upload-offset";
/** A file of 30 MB over a poor wireless network. */
const BOARD_FILE_MS = 600_000;
const BOARD_FILES = "/api/board-files";

/** Whether somebody is at an address is known soon, on the shop's own network. */
const KNOCK_MS = 5_000;

/** The address that is asked: "" is the app's own, from which it came. */
let base = "";

/** From now on everything is asked at `address`, an origin; "" is the app's own. */
export function askAt(address: string): void {
  base = address;
}

export function askedAt(): string {
  return base;
}

/** Whether a shop's server answers at an address ("" is the app's own). Nothing of this phone is sent along. */
export async function answersAt(address: string): Promise<boolean> {
  try {
    const response = await fetch(`${address}/api/health`, { cache: "no-store", signal: AbortSignal.timeout(KNOCK_MS) });
    return response.ok && ((await response.json()) as { ok?: boolean }).ok === true;
  } catch {
    return false;
  }
}

let tokenNow: () => Promise<string | null> = () => Promise.resolve(null);

/** From now on every request carries the token that `source` gives, where it gives one. */
export function askTokenOf(source: () => Promise<string | null>): void {
  tokenNow = source;
}

/** No answer at all: no network, no server, or none in time. */
export class Unreachable extends Error {
  override name = "Unreachable";
}

/** The server answered, but not with success. */
export class Trouble extends Error {
  override name = "Trouble";
  constructor(
    readonly status: number,
    readonly problem: Problem,
  ) {
    super(problem.message);
  }

  /** Whether what was sent is at fault, so that sending the same again cannot help. */
  get isAboutContent(): boolean {
    return [400, 413, 422].includes(this.status);
  }
}

/** Which phone this is to the shop, and where the shop is reached. */
export function me(): Promise<Me> {
  return asked<Me>("/api/me", ASK_MS, {});
}

export function pair(code: string): Promise<Paired> {
  return asked<Paired>("/api/pair", ASK_MS, posted({ code }));
}

/** Only a server that is for its own machine alone lets a browser in like this. */
export function pairHere(): Promise<Paired> {
  return asked<Paired>("/api/pair-here", ASK_MS, { method: "POST" });
}

export function makeCode(wanted: CodeWanted): Promise<CodeMade> {
  return asked<CodeMade>("/api/codes", ASK_MS, posted(wanted));
}

export function phones(): Promise<PhoneList> {
  return asked<PhoneList>("/api/phones", ASK_MS, {});
}

export function revokePhone(phoneId: string): Promise<Phone> {
  return asked<Phone>(`/api/phones/${encodeURIComponent(phoneId)}/revoke`, ASK_MS, { method: "POST" });
}

/** Sends JSON to one of the shop's doors; the answer is whatever came, to be looked at by who asked. */
export function askShop(address: string, body: string, limit_ms: number): Promise<Response> {
  return fetched(address, limit_ms, { method: "POST", headers: { "content-type": "application/json" }, body });
}

export function push(changes: readonly Change[]): Promise<BatchAnswer> {
  return asked<BatchAnswer>("/api/changes", PUSH_MS, posted({ changes }));
}

export function pull(after: number): Promise<ChangePage> {
  return asked<ChangePage>(`/api/changes?after=${after}&limit=${PAGE}`, PULL_MS, {});
}

/**
 * How many bytes of the picture the server has: "all", or how many came before the line was cut. Whatever else
 * answers to its address has another length.
 */
export async function photoThere(sha256: string, size_bytes: number): Promise<number | "all"> {
  const response = await fetched(photoAddress(sha256), PULL_MS, { method: "HEAD" });
  if (response.ok && response.headers.get("content-length") === String(size_bytes)) return "all";
  const there = Number(response.headers.get(OFFSET) ?? 0);
  return response.status === 404 && Number.isSafeInteger(there) && there > 0 && there <= size_bytes ? there : 0;
}

/** Sends the picture from that byte on. */
export async function putPhoto(photo: { sha256: string; mime: string; bytes: ArrayBuffer }, from: number): Promise<void> {
  const headers = { "content-type": photo.mime, ...(from > 0 ? { [OFFSET]: String(from) } : {}) };
  const body = from > 0 ? photo.bytes.slice(from) : photo.bytes;
  await asked<object>(photoAddress(photo.sha256), PHOTO_MS, { method: "PUT", headers, body });
}

/** `null`: the server does not have it, or cannot be reached. */
export async function getPhoto(sha256: string): Promise<{ mime: string; bytes: ArrayBuffer } | null> {
  try {
    const response = await fetched(photoAddress(sha256), PHOTO_MS, {});
    const mime = response.headers.get("content-type") ?? "";
    return response.ok && mime.startsWith("image/") ? { mime, bytes: await response.arrayBuffer() } : null;
  } catch {
    return null;
  }
}

/**
 * Sends a board file; the answer says where to look how far its reading is. By an older interface than `fetch`: only
 * this one says how much of a body has gone out (`told`, a share from 0 to 1).
 */
export async function sendBoardFile(file: Blob, columns: string, told: (share: number) => void): Promise<BoardReading> {
  const address = columns === "" ? BOARD_FILES : `${BOARD_FILES}?${new URLSearchParams({ columns }).toString()}`;
  const token = await tokenNow();
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest();
    request.open("POST", base + address);
    request.timeout = BOARD_FILE_MS;
    request.setRequestHeader("content-type", "application/octet-stream");
    if (token !== null) request.setRequestHeader("authorization", `Bearer ${token}`);
    request.upload.onprogress = ({ loaded, total }) => told(total > 0 ? loaded / total : 0);
    request.onerror = request.ontimeout = () => fail(new Unreachable("no answer"));
    request.onload = () => {
      const json = parsed(request.responseText);
      if (request.status < 300 && json !== undefined) done(json as BoardReading);
      else fail(new Trouble(request.status, problemOf(request.status, json, address)));
    };
    request.send(file);
  });
}

export function boardFile(id: string): Promise<BoardReading> {
  return asked<BoardReading>(`${BOARD_FILES}/${id}`, ASK_MS, {});
}

export function boardFileSocket(id: string, ref: string): Promise<TracedSocket> {
  return asked<TracedSocket>(`${BOARD_FILES}/${id}/socket?${new URLSearchParams({ ref }).toString()}`, PULL_MS, {});
}

function posted(body: object): RequestInit {
  return { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
}

function photoAddress(sha256: string): string {
  return `/api/photos/${sha256}`;
}

async function asked<T>(address: string, limit_ms: number, init: RequestInit): Promise<T> {
  const { status, text } = await answered(address, limit_ms, init);
  const json = parsed(text);
  if (status >= 200 && status < 300 && json !== undefined) return json as T;
  throw new Trouble(status, problemOf(status, json, address));
}

async function answered(address: string, limit_ms: number, init: RequestInit): Promise<{ status: number; text: string }> {
  const response = await fetched(address, limit_ms, init);
  try {
    return { status: response.status, text: await response.text() };
  } catch (error) {
    throw new Unreachable(error instanceof Error ? error.message : String(error));
  }
}

async function fetched(address: string, limit_ms: number, init: RequestInit): Promise<Response> {
  const token = await tokenNow();
  const headers = { ...(init.headers as Record<string, string> | undefined), ...(token === null ? {} : { authorization: `Bearer ${token}` }) };
  try {
    return await fetch(base + address, { ...init, headers, cache: "no-store", signal: AbortSignal.timeout(limit_ms) });
  } catch (error) {
    throw new Unreachable(error instanceof Error ? error.message : String(error));
  }
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text) as unknown;
  } catch {
    return undefined;
  }
}

function problemOf(status: number, json: unknown, where: string): Problem {
  const said = (json as Partial<ProblemAnswer> | undefined)?.problem;
  if (typeof said?.code === "string" && typeof said.message === "string") return said;
  return {
    code: "not_our_server",
    message: `Something answered ${status} at ${where}, but not the way the shop's server does.`,
    where,
    given: String(status),
    expected: "an answer in JSON",
  };
}
