/**
 * The one boundary where what a screen hands over becomes plain data: proxies of the screen's state
 * cannot be stored, and a record holds what JSON can say and nothing else.
 */
import { StoreError } from "./door";

/**
 * A copy of `value` as plain JSON data; fields that are undefined are left out.
 * A number that is not finite would turn into null on the way, so it is refused here.
 */
export function toPlain<T>(value: T): T {
  const text = JSON.stringify(value, (field, given: unknown) => {
    if (typeof given === "number" && !Number.isFinite(given)) {
      throw new StoreError(
        "not_complete",
        `${field || "value"}: ${given} is not a number that can be kept (try 452, or leave it out).`,
      );
    }
    return given;
  });
  return JSON.parse(text) as T;
}
