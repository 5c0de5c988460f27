"""Candidate touches once a rail or a part is to blame: which part it is, gentlest first.

A rail's short: ohms to every core rail before anything is injected, then heat, then millivolts. A part to ground:
off the board and the line read again, the last of all touches, and none that holds or guards data while they matter.
"""

import math

from server.engine.candidate import TITLES, Candidate, Hypothesis, answers_to, candidate, two, why_of
from server.engine.constants.answers import HEAT_FINDS, MILLIVOLTS_FIND, SURE
from server.engine.constants.next_touch import ODD_MIN
from server.engine.findings import BRIDGE_CODES, joined_rails
from server.engine.inference import Judged
from server.engine.rail_places import joined_name
from server.engine.stories.kinds import Story
from server.engine.verdicts import ContactState
from server.engine.wording_shorts import UNNAMED_CORE
from shared_models.board import Clamp, SeriesPart, ShuntPart
from shared_models.reading import AtContact, AtRail, AtTestPoint, BetweenContacts, Touch
from shared_models.tables import ROLE_BY_ID

CORE_KINDS = ("core", "memory")
FEWEST_PARTS = 2
"""A rail nobody listed the parts of has at least these."""


def hunting(
    judged: Judged, states: list[ContactState], known: list[Hypothesis], *, data_matters: bool
) -> list[Candidate]:
    """What finds the part: on each rail more likely shorted than not, and on a line whose part to ground is blamed."""
    found: list[Candidate] = []
    for story in _blamed(judged, known, "rail_short"):
        if not any(finding.code == "rail_low" and finding.was_so and finding.where == story.subject
                   for finding in judged.findings):
            continue  # its ohms come first, and are proposed with the other parts
        waiting = _core_rails_to_ask(judged, story)
        if waiting:
            found.extend(_rail_to_rail(judged, known, story, other) for other in waiting)
        else:
            found.extend(_injected(judged, known, story))
    for story in _blamed(judged, known, "shunt_short"):
        part = judged.prepared.board.parts.get(story.part or "")
        holds = part is not None and (part.holds_data or part.guards_data)
        settled = not any(states[index].touch_again for index in story.contacts)
        if story.part is not None and settled and not (holds and data_matters):
            found.append(_lifted(judged, known, story))
    return found


def _blamed(judged: Judged, known: list[Hypothesis], kind: str) -> list[Story]:
    """The stories of a kind that are more likely true than not, alone or beside another."""
    weights: dict[str, float] = {}
    told: dict[str, Story] = {}
    for hypothesis in known:
        for story in hypothesis.stories:
            if story.kind == kind:
                told[story.subject] = story
                weights[story.subject] = weights.get(story.subject, 0.0) + hypothesis.weight
    return [told[subject] for subject in sorted(told) if weights[subject] > ODD_MIN]


def _core_rails_to_ask(judged: Judged, story: Story) -> list[str]:
    """Core and memory rails of the board that nobody measured this rail against yet.

    A record that names none still speaks of a board with a processor: that one is asked for all the same.
    """
    board = judged.prepared.board
    names = [net.name for net in board.version.nets if net.rail_kind in CORE_KINDS]
    names += [
        contact.net or contact.number
        for contact in board.contacts
        if contact.role in ("core_rail", "core_rail_large", "memory_rail")
    ]
    asked = [finding.where for finding in judged.findings if finding.code == "rails_joined"]
    asked += [finding.where for finding in judged.findings if finding.code in BRIDGE_CODES]
    left = []
    for name in sorted(set(names)) or [UNNAMED_CORE]:
        one, other = _first_contact(judged, story.subject), _first_contact(judged, name)
        pair = "-".join(sorted((one or "", other or ""), key=lambda number: board.places.get(number, -1)))
        if name != story.subject and joined_name(story.subject, name) not in asked and pair not in asked:
            left.append(name)
    return left


def _first_contact(judged: Judged, net: str) -> str | None:
    for contact in judged.prepared.board.contacts:
        if (contact.net or contact.number) == net and ROLE_BY_ID[contact.role].is_rail:
            return contact.number
    return None


def _rail_to_rail(judged: Judged, known: list[Hypothesis], story: Story, other: str) -> Candidate:
    one, beside = _first_contact(judged, story.subject), _first_contact(judged, other)
    name = joined_name(story.subject, other)
    touch: Touch = AtTestPoint(name=name)
    if one is not None and beside is not None:
        touch = BetweenContacts(contact_a=one, contact_b=beside)
    why = (
        f"Before anything is injected into {story.subject}: joined to {other}, it would take {other} and its chip up "
        "with it. Joined rails are never fed above the lowest of them."
    )
    return candidate(
        "rail_to_rail",
        TITLES["rails_joined"].format(name),
        touch,
        "ohms",
        answers_to(judged, known, "rails_joined", name),
        lead=None,
        reasons=(why_of("rail_to_rail", why),),
        finer_bits=_which_part(judged, known, story),
    )


def _injected(judged: Judged, known: list[Hypothesis], story: Story) -> list[Candidate]:
    """Heat and millivolts along a shorted rail."""
    joined = [finding.where for finding in joined_rails(judged.prepared.board, judged.findings)]
    ceiling = f" It is joined ({', '.join(joined)}): no more than the lowest of them takes." if joined else ""
    limits = f"From 0.3 V up and no further than the rail's own voltage, seconds at a time.{ceiling}"
    bits = _which_part(judged, known, story)
    hot = any(one.seen == "hot" for one in judged.observations)
    told = []
    for kind, finds, why in (
        ("heat", HEAT_FINDS, f"{limits} A camera, alcohol or frost shows the part; the film is dry before any flame."),
        ("millivolts", MILLIVOLTS_FIND, f"{limits} They fall towards the short and stay level beyond it."),
    ):
        if kind == "heat" and hot:
            continue
        told.append(
            candidate(
                kind,
                TITLES[kind].format(story.subject),
                AtRail(net=story.subject),
                "volts",
                [two(0.5) for _ in known],
                lead=None,
                action="heat" if kind == "heat" else "millivolts",
                reasons=(why_of(kind, why),),
                finer_bits=finds * bits,
            )
        )
    return told


def _which_part(judged: Judged, known: list[Hypothesis], story: Story) -> float:
    """Bits it takes to name the part of a shorted rail, times how likely the rail is shorted."""
    parts: list[str] = []
    for index in story.contacts:
        contact = judged.prepared.board.contacts[index]
        parts += [one.part or "" for one in contact.path if isinstance(one, ShuntPart | SeriesPart | Clamp)]
    weight = 0.0
    for one in known:
        weight += one.weight if any(told.subject == story.subject for told in one.stories) else 0.0
    return weight * math.log2(max(FEWEST_PARTS, len(dict.fromkeys(parts))))


def _lifted(judged: Judged, known: list[Hypothesis], story: Story) -> Candidate:
    """A part to ground off the board, its line read again."""
    number, part = judged.prepared.board.contacts[story.contacts[0]].number, story.part or ""
    answers = [
        two(0.5 if not one.stories else SURE if any(told.part == part for told in one.stories) else 1 - SURE)
        for one in known
    ]
    why = (
        f"The last of all: {part} comes off only now. {number} reading as healthy boards do without it blames the "
        "part; the same number blames the chip."
    )
    return candidate(
        "lift_part",
        TITLES["lift_and_read"].format(part, number),
        AtContact(contact=number),
        "drop",
        answers,
        action="lift_and_read",
        reasons=(why_of("lift_part", why, number, part=part),),
    )
