"""Candidate touch: the same contact with another meter, or another range, of a smaller current.

A leak takes a share of the test current that grows as the current gets smaller, and what this board strays by
cancels between the two readings; so it is worth a touch wherever a leak is suspected. Where the number is so low that
something is there in any case, it parts a leak, which falls with the current, from lines joined and chips that differ.
"""

from server.engine.candidate import TITLES, Candidate, Hypothesis, Row, about, candidate, two, why_of
from server.engine.constants.answers import SURE
from server.engine.constants.next_touch import DEEP_LOW_SD
from server.engine.constants.sessions import DIODE_MODE_MAX_MV, SECOND_RATIO
from server.engine.inference import Judged
from server.engine.verdicts import ContactState
from server.engine.wording_units import forced_words
from shared_models.reading import AtContact, Meter

LEAKS = ("leak", "wet", "shunt_short", "chip_damaged", "plugged_live", "plug_off_by", "plug_tilted", "tool_slip")


def with_a_smaller_current(
    judged: Judged, contact: int, state: ContactState, known: list[Hypothesis]
) -> list[Candidate]:
    """The second current at one contact in doubt, if a meter for it is known and it is low, but no plain short."""
    seen, band = judged.seen.get((contact, "red")), judged.bands[contact, "red"]
    smallest = _smallest(judged)
    if smallest is None or seen is None or seen.drop_mv is None or band.path is None or band.ol_odds > 0.5:
        return []
    view = judged.views[contact, "red"]
    low_by_sd = (view.loc - seen.drop_mv) / view.scale
    if low_by_sd <= 2 or state.odds.low + state.odds.short <= state.odds.high + state.odds.open:
        return []
    if state.odds.short > state.odds.low:
        return []  # a short reads in proportion to the current, as what is left of it does: nothing to learn
    one = judged.prepared.board.contacts[contact]
    second_ma, meter = smallest
    ratio = view.current_ma / second_ma
    sentence = (
        f"At {forced_words(second_ma)} ({meter.name}) a leak at {one.number} shows {ratio:.0f} "
        "times as far, and what this board strays by cancels between the two."
    )
    return [
        candidate(
            "second_current",
            TITLES["second_current"].format(one.number),
            AtContact(contact=one.number),
            "drop",
            [_row(hypothesis, contact, plain=low_by_sd >= DEEP_LOW_SD) for hypothesis in known],
            action="second_current",
            reasons=(why_of("second_current", sentence, one.number),),
            meter_id=meter.id,
        )
    ]


def _row(hypothesis: Hypothesis, contact: int, *, plain: bool) -> Row:
    """(it falls further than a healthy one would, it does not). `plain`: too low for a healthy one, so that stories of
    other contacts leave open what it is.
    """
    story = about(hypothesis, contact)
    if story is None:
        return two(1 - SURE if hypothesis.stories and not plain else 0.5)
    return two(SURE if story.kind in LEAKS else 1 - SURE)


def _smallest(judged: Judged) -> tuple[float, Meter] | None:
    """(mA, the meter) of the smallest known current on the sheet, if that is well below the session's."""
    usable = [
        (meter.test_current_ma, meter)
        for meter in judged.meters.values()
        if meter.test_current_ma is not None
        and meter.test_current_ma <= SECOND_RATIO * judged.at.current_ma
        and (meter.open_circuit_mv is None or meter.open_circuit_mv <= DIODE_MODE_MAX_MV)
    ]
    return min(usable, key=lambda one: (one[0], one[1].id), default=None)
