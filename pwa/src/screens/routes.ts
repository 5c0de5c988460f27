/**
 * The addresses of the screens: hash routes, so that any of them opens without a network.
 * `parseRoute` and the `to…` functions are each other's inverse; what is not known is the bench.
 */
export type Route =
  | { at: "bench" }
  | { at: "take_in" }
  | { at: "shop" }
  | { at: "figures"; back: string }
  | { at: "learning" }
  | { at: "honesty" }
  | { at: "pair"; code: string }
  | { at: "phones" }
  | { at: "meters"; back: string }
  | { at: "board_by_hand" }
  | { at: "board_from_file" }
  | { at: "take_in_healthy" }
  | { at: "healthy"; board: string; socket: string }
  | { at: JobPage; job: string; query: URLSearchParams };

export type JobPage = "next" | "stop" | "power" | "close" | "sheet" | "safe" | "look" | "plug" | "charge" | "anchor" | "read" | "opinion" | "leads" | "photo" | "rail" | "proof" | "handback" | "custody" | "consent" | "owner" | "technician";

const JOB_PAGES: readonly JobPage[] = ["next", "stop", "power", "close", "sheet", "safe", "look", "plug", "charge", "anchor", "read", "opinion", "leads", "photo", "rail", "proof", "handback", "custody", "consent", "owner", "technician"];

export function parseRoute(hash: string): Route {
  const [path = "", query = ""] = hash.replace(/^#\/?/, "").split("?", 2);
  const [first, job, page = "sheet"] = path.split("/");
  if (first === "take-in" && job === "healthy") return { at: "take_in_healthy" };
  if (first === "take-in") return { at: "take_in" };
  if (first === "healthy" && job !== undefined && page !== "sheet") {
    return { at: "healthy", board: decodeURIComponent(job), socket: decodeURIComponent(page) };
  }
  if (first === "meters" || first === "figures") {
    const back = new URLSearchParams(query).get("back") ?? "";
    return { at: first, back: back.startsWith("#/") ? back : TO_BENCH };
  }
  if (first === "shop") return { at: "shop" };
  if (first === "learning") return { at: "learning" };
  if (first === "honesty") return { at: "honesty" };
  if (first === "pair") return { at: "pair", code: decodeURIComponent(job ?? "") };
  if (first === "phones") return { at: "phones" };
  if (first === "board-by-hand") return { at: "board_by_hand" };
  if (first === "board-from-file") return { at: "board_from_file" };
  const at = JOB_PAGES.find((name) => name === page);
  if (first === "job" && job !== undefined && job !== "" && at !== undefined) {
    return { at, job: decodeURIComponent(job), query: new URLSearchParams(query) };
  }
  return { at: "bench" };
}

export const TO_BENCH = "#/";
export const TO_TAKE_IN = "#/take-in";
export const TO_TAKE_IN_HEALTHY = "#/take-in/healthy";
export const TO_SHOP = "#/shop";
export const TO_LEARNING = "#/learning";
export const TO_HONESTY = "#/honesty";
export const TO_PAIR = "#/pair";
export const TO_PHONES = "#/phones";
export const TO_BOARD_BY_HAND = "#/board-by-hand";
export const TO_BOARD_FROM_FILE = "#/board-from-file";

export function toJob(job: string, page: JobPage = "sheet", query: Record<string, string> = {}): string {
  const search = new URLSearchParams(query).toString();
  return `#/job/${encodeURIComponent(job)}/${page}${search === "" ? "" : `?${search}`}`;
}

/** The meters; `back` is the address one comes from, so that what was being done goes on there. */
export function toMeters(back: string): string {
  return `#/meters?${new URLSearchParams({ back }).toString()}`;
}

/** The shop's own figures; `back` is the address one comes from. */
export function toFigures(back: string): string {
  return `#/figures?${new URLSearchParams({ back }).toString()}`;
}

/** The healthy boards of one socket of a board version. */
export function toHealthy(board: string, socket: string): string {
  return `#/healthy/${encodeURIComponent(board)}/${encodeURIComponent(socket)}`;
}
