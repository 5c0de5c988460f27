/**
 * Whether Enter belongs to what has the focus. A key of the pad that was reached by Tab is pressed by
 * it; anywhere else a number that waits is taken first, or the number pad's Enter would press the
 * contact or link that was touched last and lose the number.
 */
export function isOwnPress(target: EventTarget | null, waits: boolean): boolean {
  if (!(target instanceof HTMLElement) || target.closest("button, a, summary") === null) return false;
  return !waits || target.closest(".keypad") !== null;
}
