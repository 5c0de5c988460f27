/** One line about the session: what all its readings have in common, with its error. */
import type { Session } from "../generated/models";

export function sessionWords(session: Session): string {
  const reasons = (session.reasons ?? []).map((reason) => reason.sentence).filter((text) => text !== "");
  if (reasons.length > 0) return reasons.join(" ");
  const parts: string[] = [];
  if (session.current_ma != null) {
    const error = session.current_sd_pct == null ? "" : ` ± ${Math.round(session.current_sd_pct)} %`;
    parts.push(`test current ${session.current_ma.toFixed(2)} mA${error}`);
  }
  if (session.junction_c != null) {
    const error = session.junction_sd_k == null ? "" : ` ± ${Math.round(session.junction_sd_k)}`;
    parts.push(`board ${Math.round(session.junction_c)}${error} °C`);
  }
  const shift = session.shift_mv ?? 0;
  if (shift !== 0) parts.push(`moves a plain junction by ${shift > 0 ? "+" : ""}${Math.round(shift)} mV`);
  if (parts.length === 0) return "";
  return `This session: ${parts.join(", ")}, from ${session.contacts_used ?? 0} contacts.`;
}
