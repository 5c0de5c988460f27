"""Candidate touches that settle one's own mistakes: a known resistor under this meter, volts at the stores."""

from server.engine.candidate import TITLES, Candidate, Hypothesis, answers_to, candidate, why_of
from server.engine.constants.answers import KNOWN_RESISTOR_OHM
from server.engine.constants.next_touch import STORY_FLOOR
from server.engine.constants.overstress import UNKNOWN_IO_LIMIT_MV
from server.engine.findings import KNOWN_RESISTOR
from server.engine.inference import Judged
from server.engine.overstress import net_key
from server.engine.wording_units import forced_words
from shared_models.reading import AtRail, AtTestPoint, Touch
from shared_models.tables import ROLE_BY_ID


def touches_of_blunders(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    """A known resistor where the meter is in doubt, volts at each store where voltage may be left."""
    return [*_known_resistor(judged, known), *_volts(judged, known)]


def _known_resistor(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    there = _told(known, "meter_differs")
    if not judged.at.told or not any(there):
        return []
    name = f"{KNOWN_RESISTOR} {KNOWN_RESISTOR_OHM:.0f} ohm"
    shows = KNOWN_RESISTOR_OHM * judged.at.current_ma
    why = (
        f"The sheet says {forced_words(judged.at.current_ma)}: across {KNOWN_RESISTOR_OHM:.0f} ohm that shows "
        f"{shows:.0f} mV. Another number is another current; the same number means the board is warm or cold. Three "
        "contacts with another meter tell as much."
    )
    return [
        candidate(
            "known_resistor",
            TITLES["meter_as_told"].format(name),
            AtTestPoint(name=name),
            "drop",
            answers_to(judged, known, "meter_as_told", name),
            lead=None,
            reasons=(why_of("known_resistor", why),),
        )
    ]


def _volts(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    there = _told(known, "still_powered")
    if not any(there):
        return []
    found = []
    for touch, name in _stores(judged):
        why = (
            "Voltage left adds to every number that hangs on it, with its sign. Under 10 mV here it is not that; "
            "more, and reading stops until it is gone."
        )
        found.append(
            candidate(
                "volts_check",
                TITLES["volts_left"].format(name),
                touch,
                "volts",
                answers_to(judged, known, "volts_left", name),
                reasons=(why_of("volts_left", why),),
            )
        )
    return found


def _stores(judged: Judged) -> list[tuple[Touch, str]]:
    """Where voltage is proved: the places the board's record names, main rail first; else a low rail of the socket."""
    nets = [net for net in judged.prepared.board.version.nets if net.stores_charge and net.proof_at]
    nets.sort(key=lambda net: (net.rail_kind != "main", net.name))
    if nets:
        return [(AtTestPoint(name=net.proof_at or ""), net.proof_at or "") for net in nets]
    for contact in judged.prepared.board.contacts:
        # never at a socket's contact beside one of more volts; a rail by name leaves the place to the technician
        if ROLE_BY_ID[contact.role].is_rail and (contact.working_mv or 0.0) >= UNKNOWN_IO_LIMIT_MV:
            return [(AtRail(net=contact.net or contact.number), contact.net or net_key(contact))]
    return [(AtTestPoint(name="main rail"), "main rail")]


def _told(known: list[Hypothesis], kind: str) -> list[bool]:
    """Which hypotheses hold a story of this kind; none where it is too unlikely to be shown."""
    held = [any(story.kind == kind for story in one.stories) for one in known]
    weight = 0.0
    for one, there in zip(known, held, strict=True):
        weight += one.weight if there else 0.0
    return held if weight > STORY_FLOOR else [False for _ in held]
