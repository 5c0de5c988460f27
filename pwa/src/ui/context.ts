/** How a screen gets the door: the app puts it there once, no screen makes one. */
import { getContext, setContext } from "svelte";

import type { Door } from "../store/door";

const KEY = Symbol("door");

export function provideDoor(door: Door): void {
  setContext(KEY, door);
}

export function useDoor(): Door {
  return getContext<Door>(KEY);
}
