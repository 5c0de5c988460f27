/**
 * What follows when the engine says that the technician counts differently: the drawing is turned the
 * way they see it, and from then on they go by the drawing, so its numbers hold as they are.
 */
import type { Opinion } from "../generated/models";
import type { View } from "./layout";

const TURNS: Record<string, View> = {
  from_the_other_end: { turned: true, flipped: false },
  from_the_other_side: { turned: false, flipped: true },
  other_row_first: { turned: true, flipped: true },
};

/** The counting is settled and it is not the drawing's. */
export function countsDifferently(opinion: Opinion | null): boolean {
  const numbering = opinion?.numbering;
  return numbering?.settled === true && numbering.order !== "as_drawn";
}

/** The drawing as this technician sees the board, when they took it for `view` and count by `order`. */
export function viewForOrder(view: View, order: string): View {
  const turn = TURNS[order];
  if (turn === undefined) return view;
  return { turned: view.turned !== turn.turned, flipped: view.flipped !== turn.flipped };
}
