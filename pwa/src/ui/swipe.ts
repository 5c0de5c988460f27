/** A sideways swipe of one finger, as an attachment; presses on keys and drawings are left alone. */
export function swipe(to: { left?: () => void; right?: () => void }): (element: HTMLElement) => () => void {
  return (element) => {
    let start: { id: number; x: number; y: number } | null = null;
    const down = (event: PointerEvent): void => {
      const onKeys = event.target instanceof Element && event.target.closest(".keypad, input, textarea, select") !== null;
      start = event.pointerType === "mouse" || onKeys ? null : { id: event.pointerId, x: event.clientX, y: event.clientY };
    };
    const up = (event: PointerEvent): void => {
      if (start === null || start.id !== event.pointerId) return;
      const dx = event.clientX - start.x;
      const dy = Math.abs(event.clientY - start.y);
      start = null;
      if (Math.abs(dx) < 60 || dy > Math.abs(dx) / 2) return;
      if (dx < 0) to.left?.();
      else to.right?.();
    };
    const cancel = (): void => {
      start = null;
    };
    element.addEventListener("pointerdown", down);
    element.addEventListener("pointerup", up);
    element.addEventListener("pointercancel", cancel);
    return () => {
      element.removeEventListener("pointerdown", down);
      element.removeEventListener("pointerup", up);
      element.removeEventListener("pointercancel", cancel);
    };
  };
}
