/** Talking to the shop's server: addresses, time limits, and the three ways an answer can be none. */
import type { BatchAnswer, Change, ChangePage, Problem, ProblemAnswer } from "../generated/models";

const PUSH_MS = 30_000;
const PULL_MS = 30_000;
const PAGE = 500;

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

export function push(changes: readonly Change[]): Promise<BatchAnswer> {
  return asked<BatchAnswer>("/api/changes", PUSH_MS, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ changes }),
  });
}

export function pull(after: number): Promise<ChangePage> {
  return asked<ChangePage>(`/api/changes?after=${after}&limit=${PAGE}`, PULL_MS, {});
}

async function asked<T>(address: string, limit_ms: number, init: RequestInit): Promise<T> {
  const { status, text } = await answered(address, { ...init, cache: "no-store", signal: AbortSignal.timeout(limit_ms) });
  const json = parsed(text);
  if (status >= 200 && status < 300 && json !== undefined) return json as T;
  throw new Trouble(status, problemOf(status, json, address));
}

async function answered(address: string, init: RequestInit): Promise<{ status: number; text: string }> {
  try {
    const response = await fetch(address, init);
    return { status: response.status, text: await response.text() };
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
