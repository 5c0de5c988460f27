/** Lines cut at the edge of what is shown, so that nothing is drawn beside the picture. */
export interface Frame {
  x: number;
  y: number;
  w: number;
  h: number;
}

/** The pieces of a line (x, y, x, y, ...) inside the frame, each as the `d` of a path. */
export function clipped(line: readonly number[], frame: Frame): string {
  let d = "";
  for (let n = 0; n + 3 < line.length; n += 2) {
    const [x1 = 0, y1 = 0, x2 = 0, y2 = 0] = line.slice(n, n + 4);
    const piece = inside(x1, y1, x2, y2, frame);
    if (piece !== null) d += `M${piece[0]} ${piece[1]}L${piece[2]} ${piece[3]}`;
  }
  return d;
}

/** One stretch cut by the four edges in turn (Liang and Barsky's way); null where nothing of it is inside. */
function inside(x1: number, y1: number, x2: number, y2: number, { x, y, w, h }: Frame): [number, number, number, number] | null {
  const [dx, dy] = [x2 - x1, y2 - y1];
  let [from, to] = [0, 1];
  for (const [towards, room] of [[-dx, x1 - x], [dx, x + w - x1], [-dy, y1 - y], [dy, y + h - y1]] as const) {
    if (towards === 0 && room < 0) return null;
    if (towards === 0) continue;
    const at = room / towards;
    if (towards < 0) from = Math.max(from, at);
    else to = Math.min(to, at);
  }
  return from > to ? null : [x1 + from * dx, y1 + from * dy, x1 + to * dx, y1 + to * dy];
}
