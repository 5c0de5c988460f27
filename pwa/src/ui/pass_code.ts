/** Whether words look as if they held a pass code; the same pattern keeps them off every paper. */
import tables from "../generated/tables.json";

const PATTERN = new RegExp(tables.hand_back.pass_code_pattern, "i");

export function looksLikePassCode(text: string): boolean {
  return PATTERN.test(text.trim().split(/\s+/).join(" "));
}
