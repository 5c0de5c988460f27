"""What would have to be mended under each hypothesis: its faults, each of a class of `constants.chances.MENDS`.

A part's own story is one fault. An event (a misplaced plug, a slipped tool) hurts what its contacts show: each chip by
the line that speaks loudest, each rail by its own state; where that is in doubt the hypothesis branches, hurt and not.
Also runs on the phone.
"""

from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.candidate import Hypothesis
from server.engine.constants.chances import CHIPS_IN_DOUBT, HARD_SHORT_OHM, HYPOTHESIS_COUNTS, SURELY
from server.engine.inference import Judged
from server.engine.overstress import net_key
from server.engine.roles import chip_of, first_series
from server.engine.stories.kinds import Story
from server.engine.verdicts import ContactState
from shared_models.tables import ROLE_BY_ID

SPREADS = ("plug_off_by", "plugged_live", "plug_tilted", "tool_slip", "separate_faults")
"""Stories that say where something may be hurt; what is, the contacts say."""
DATA_CLASSES = ("data_chip", "data_store", "data_shorted")
"""Classes of faults in the chips that hold or guard the data: left alone, never mended on the way to the data."""
NO_FAULT_OF_ITS_OWN = ("meter_differs", "other_revision")
CLASS_OF = {
    "nothing_wrong": "no_fault",
    "elsewhere": "module",
    "cable_flipped": "module",
    "bridge": "seat",
    "contact_torn": "contact",
    "series_open": "small_part",
    "shunt_short": "small_part",
    "part_knocked_off": "small_part",
    "leak": "line",
    "rail_short": "rail",
    "wet": "wet",
    "cracked_joint": "cracked",
    "leads_swapped": "unread",
    "still_powered": "unread",
}


class Fault(NamedTuple):
    """One thing to mend: its class, the part it is about (else the place in words), and the contacts that show it."""

    kind: str
    part: str
    contacts: tuple[int, ...] = ()


Faults = tuple[Fault, ...]


class Branch(NamedTuple):
    """What may be wrong together, and how likely that is."""

    weight: float
    faults: Faults


def branches_of(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Branch]:
    """Every set of faults with its odds, likeliest first; they add up to one. The last of `known` names none."""
    weights: dict[Faults, float] = {}
    told = [hypothesis for hypothesis in known if hypothesis.stories]
    least = HYPOTHESIS_COUNTS * told[0].weight
    told = [hypothesis for hypothesis in told if hypothesis.weight >= least]
    whole = 0.0
    for hypothesis in told:
        whole += hypothesis.weight
    for hypothesis in told:
        for weight, faults in _branches(judged, states, hypothesis):
            weights[faults] = weights.get(faults, 0.0) + weight / whole
    ranked = sorted(weights, key=lambda faults: (-weights[faults], faults))
    return [Branch(weights[faults], faults) for faults in ranked]


def _branches(judged: Judged, states: list[ContactState], hypothesis: Hypothesis) -> list[Branch]:
    sure: list[Fault] = []
    doubted: list[tuple[float, Fault]] = []
    for story in hypothesis.stories:
        if story.kind in SPREADS:
            others = tuple(index for other in hypothesis.stories if other is not story for index in other.contacts)
            doubted += _spread(judged, states, story, others)
        elif story.kind not in NO_FAULT_OF_ITS_OWN:
            sure.append(_own(judged, story))
    sure += [fault for odds, fault in doubted if odds > SURELY]
    open_ones = sorted(((odds, fault) for odds, fault in doubted if 1 - SURELY < odds <= SURELY), reverse=True)
    found = [Branch(hypothesis.weight, tuple(sure))]
    for odds, fault in open_ones[:CHIPS_IN_DOUBT]:
        found = [
            Branch(weight * share, (*faults, *more))
            for weight, faults in found
            for share, more in ((odds, (fault,)), (1 - odds, ()))
        ]
    spread = any(story.kind in SPREADS for story in hypothesis.stories)
    nothing = Fault("seat" if spread else "no_fault", "")
    return [Branch(weight, tuple(sorted(set(faults))) or (nothing,)) for weight, faults in found]


def _own(judged: Judged, story: Story) -> Fault:
    board = judged.prepared.board
    part = story.part or story.decision[1]
    if story.kind == "chip_damaged":
        return Fault(_chip_class(judged, part, story.contacts), part, _odd(judged, story.contacts))
    if story.kind == "shunt_short" and _data_class(board, part) is not None:
        return Fault(_chip_class(judged, part, story.contacts), part, story.contacts)
    return Fault(CLASS_OF[story.kind], part, story.contacts)


def _odd(judged: Judged, contacts: tuple[int, ...]) -> tuple[int, ...]:
    """Of a chip's lines only those that were read, so that two hypotheses of one chip are one fault."""
    return tuple(sorted(index for index in contacts if (index, "red") in judged.seen))


def _spread(
    judged: Judged, states: list[ContactState], story: Story, others: tuple[int, ...]
) -> list[tuple[float, Fault]]:
    """Chips and rails that an event may have hurt, each with how likely it is; not what another story tells."""
    board = judged.prepared.board
    by_chip: dict[str, list[int]] = {}
    found: list[tuple[float, Fault]] = []
    for index in sorted(story.footprint):
        contact, odds = board.contacts[index], states[index].odds
        if index in others:
            continue
        if not ROLE_BY_ID[contact.role].is_rail:
            by_chip.setdefault(chip_of(contact) or "", []).append(index)
            continue
        net = judged.prepared.members[judged.prepared.net_variable[index]]
        if any(other in others for other in net):
            continue
        name = contact.net or net_key(contact)
        found.append((odds.short + odds.low, Fault("rail", name, tuple(net))))
        found.append((odds.high + odds.open, Fault("small_part", name, tuple(net))))
    for chip, members in sorted(by_chip.items()):
        loudest = max(1 - states[index].odds.expected for index in members)
        hurt = tuple(index for index in members if states[index].odds.expected < 0.5)
        found.append((loudest, Fault(_chip_class(judged, chip, tuple(members)), chip, hurt)))
    return found


def _data_class(board: Board, part: str) -> str | None:
    known = board.parts.get(part)
    if known is None:
        return None
    return "data_store" if known.holds_data else "data_chip" if known.guards_data else None


def _chip_class(judged: Judged, chip: str, contacts: tuple[int, ...]) -> str:
    kind = _data_class(judged.prepared.board, chip)
    if kind is not None and any(shorted_inside(judged, index) for index in contacts):
        return "data_shorted"
    return kind or "chip"


def shorted_inside(judged: Judged, index: int) -> bool:
    """A line that reads a short, and on the chip's side of the part in line still does: it is left in the chip."""
    contact = judged.prepared.board.contacts[index]
    seen, series = judged.seen.get((index, "red")), first_series(contact)
    if seen is None or seen.drop_mv is None or series is None or not judged.findings:
        return False
    behind = [one for one in judged.findings if one.code == "fault_behind" and one.where == series.part]
    if not behind or not behind[-1].was_so or behind[-1].value is None:
        return False
    return behind[-1].value < HARD_SHORT_OHM * judged.views[index, "red"].current_ma
