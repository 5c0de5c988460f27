/** What is said about this phone and the shop's door, and which kind of page this is. */
import type { PairingState } from "../store/pairing";

/** A page in an iPhone's browser, not the app on its home screen: only there `standalone` exists and is false. */
export function isPageOfIphone(): boolean {
  return (navigator as { standalone?: boolean }).standalone === false;
}

/** What the shop's door says, short; null while nothing is known or all is well. */
export function doorTrouble(pairing: PairingState | undefined): string | null {
  if (pairing?.refused == null) return null;
  return pairing.refused.code === "revoked" ? "taken out of the shop" : "not paired";
}
