"""The sentences of a proof: what became of each contact, and the sum of it. Codes come in, prose goes out."""

from collections.abc import Sequence

from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.proof import LISTED_AT_MOST
from shared_models.opinion import Band
from shared_models.proof import ProofOutcome, ProofSide
from shared_models.tables import PLUGGING_LIMIT_MV

COOL = (
    "Cool to the hand before reading again: a board warm from hot air reads low, about 80 mV at 60 °C, and "
    "passes for one that is not mended."
)
WARM = "{} read while still warm: that proves nothing. Let it cool to the hand and read again."
LED_AGAIN = (
    "LED+ (contact {}) holds charge again once the light was tried. Prove the LED capacitor{} anew before anything is "
    "unplugged: "
    f"under {PLUGGING_LIMIT_MV / UNIT_FACTORS['V']:.0f} V."
)


def named(contacts: Sequence[str]) -> str:
    """Contacts in a sentence; beyond so many the rest is counted."""
    if len(contacts) > LISTED_AT_MOST:
        return f"{', '.join(contacts[:LISTED_AT_MOST])} and {len(contacts) - LISTED_AT_MOST} more"
    return " and ".join([part for part in (", ".join(contacts[:-1]), *contacts[-1:]) if part])


def of_contact(
    number: str, outcome: ProofOutcome, before: ProofSide | None, after: ProofSide | None, band: Band
) -> str:
    """What became of one contact, with both numbers and what a healthy one reads."""
    was, now = shown(before), shown(after)
    told = {
        "mended": f"{number} is back: {was} before, {now} now. {_healthy(band)}",
        "changed": f"{number} still differs, in another way: {was} before, {now} now. {_healthy(band)}",
        "newly_odd": f"{number} was fine and is not now: {was} before, {now} now. {_healthy(band)}",
        "not_read_again": f"{number} was odd ({was}) and was not read again.",
        "not_settled": f"{number} shows {now} on one touch: touch it once more. {_healthy(band)}",
        "still_odd": f"{number} is unchanged: {was} before, {now} now. {_healthy(band)}",
        "as_before": f"{number} reads as before: {was}, {now} now.",
        "only_after": f"{number} reads {now} now; it was not read before.",
        "unread": f"{number} was fine ({was}) and was not read again." if before else f"{number} was never read.",
    }
    return told[outcome]


def shown(side: ProofSide | None) -> str:
    """The number of one side, and whether it climbs."""
    if side is None:
        return "nothing"
    number = "OL" if side.reads_ol else "no number" if side.drop_mv is None else f"{side.drop_mv:.0f} mV"
    return f"{number} and climbs" if side.steadiness == "climbs" else number


def _healthy(band: Band) -> str:
    if band.reads_ol:
        return "A healthy one shows OL."
    if band.low_mv is None or band.high_mv is None:
        return "What a healthy one reads is not known."
    return f"A healthy one reads {band.low_mv:.0f} to {band.high_mv:.0f} mV."


def summed_up(
    odd_before: Sequence[str],
    mended: Sequence[str],
    differs: Sequence[tuple[str, str]],
    unseen: Sequence[str],
    *,
    started: bool,
    proven: bool,
) -> tuple[str, ...]:
    """The proof in a few sentences: `differs` holds (how, contact), `unseen` what was odd and not read again."""
    if not started:
        first = "Nothing was read after the repair yet."
        rest = f" Before it {named(odd_before)} {_read(odd_before)} odd." if odd_before else ""
        return (first + rest,)
    told = []
    if proven:
        told.append(f"Proven on what was read: {named(mended)} {_read(mended)} as healthy boards do.")
    elif mended:
        told.append(f"Back to healthy: {named(mended)}.")
    told += [
        f"{how.capitalize()}: {named(those)}."
        for how in ("unchanged", "differing in another way", "fine before and not now", "to be touched once more")
        if (those := [contact for said, contact in differs if said == how])
    ]
    if unseen:
        told.append(f"Odd before and not read again: {named(unseen)}. Not measured is not mended.")
    if not odd_before:
        told.append("Nothing read odd before the repair, so readings have nothing to prove here.")
    return tuple(told)


def _read(contacts: Sequence[str]) -> str:
    return "reads" if len(contacts) == 1 else "read"
