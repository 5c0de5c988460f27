/**
 * A live query as reactive state. Svelte's own `fromStore` asks anew when it is read outside a
 * template, and a database answers later: in a key handler it would then always say "nothing yet".
 */
import type { Live } from "../store/door";

export interface Seen<T> {
  readonly current: T | undefined;
}

/** Follows `source` for as long as the component that calls this is on the screen. */
export function follow<T>(source: Live<T>): Seen<T> {
  let value = $state.raw<T | undefined>(undefined);
  $effect.pre(() =>
    source.subscribe((next) => {
      value = next;
    }),
  );
  return {
    get current() {
      return value;
    },
  };
}
