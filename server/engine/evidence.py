"""What readings at other places, and things seen, say of each story: a log factor per story.

A factor is log p(evidence | story) - log p(evidence | a story that says nothing of it), so that the
factors of two independent stories add. Findings are `findings`, things seen are `looked`.
"""

import math
from collections.abc import Callable

from server.engine.accepted_board import Board
from server.engine.constants.answers import (
    BEHIND_SERIES_CHIP,
    BEHIND_SERIES_SHUNT,
    BETWEEN_BY_CHANCE,
    DIFFERS_BY_WARMTH,
    HELD_BELOW_BRIDGE,
    LED_AT_INPUT_DRIVER,
    LED_AT_INPUT_OTHERWISE,
    LED_OVER_MODULE,
    LED_OVER_OTHERWISE,
    LIFTED_PAD,
    PLUG_RAIL_LOW_SICK,
    PLUG_RAIL_LOW_WELL,
    RAIL_OFF_OTHERWISE,
    SURE,
    VOLTS_AT_THIS_PLACE,
)
from server.engine.drops import SHORT
from server.engine.findings import Finding
from server.engine.looked import seen_factors
from server.engine.roles import first_series
from server.engine.stories.kinds import Story
from server.engine.stories.places import BEFORE_KINDS, BEHIND_KINDS
from shared_models.job import Observation

ROUND_THE_SOCKET = ("nothing_wrong", "elsewhere")
Likely = tuple[float, float]
"""(p(finding so | story), p(finding so | a story that says nothing of it))."""


def log_factors(
    stories: list[Story],
    board: Board,
    findings: list[Finding],
    observations: tuple[Observation, ...],
    last_read: dict[int, int],
) -> list[list[float]]:
    """For each piece of evidence (a finding, a thing seen, one mark of several) the log factor of each story.

    `last_read`: contact -> when it was touched last, ms.
    """
    rows = [[log_factor(story, board, finding) for story in stories] for finding in findings]
    return [*rows, *seen_factors(stories, board, observations, last_read)]


def log_factor(story: Story, board: Board, finding: Finding) -> float:
    """What one finding says of one story, as a natural logarithm; 0 where it says nothing."""
    likely, usual = likely_so(story, board, finding.code, finding.where)
    return math.log((likely if finding.was_so else 1 - likely) / (usual if finding.was_so else 1 - usual))


def claimed_twice(rows: list[list[float]], first: int, second: int) -> float:
    """What two stories together count too much, as a negative log: a mark is explained once, by either."""
    too_much = 0.0
    for row in rows:
        if row[first] > 0 and row[second] > 0:
            too_much -= min(row[first], row[second])
    return too_much


def likely_so(story: Story, board: Board, code: str, where: str) -> Likely:
    """How likely a question at a place is answered with yes if the story is true, and if it says nothing of it."""
    return ANSWERS[code](story, board, where)


def _plug_rail_low(story: Story, board: Board, where: str) -> Likely:
    return (PLUG_RAIL_LOW_SICK if story.kind == "elsewhere" else PLUG_RAIL_LOW_WELL), PLUG_RAIL_LOW_WELL


def _meter_as_told(story: Story, board: Board, where: str) -> Likely:
    return (DIFFERS_BY_WARMTH if story.kind == "meter_differs" else SURE), SURE


def _volts_left(story: Story, board: Board, where: str) -> Likely:
    return (VOLTS_AT_THIS_PLACE if story.kind == "still_powered" else 1 - SURE), 1 - SURE


def _bridged(story: Story, board: Board, where: str) -> Likely:
    """Joined where a bridge is told; or one of the two is ground and the story shorts the other to it anyway."""
    if story.kind == "bridge" and story.subject == where:
        return SURE, BETWEEN_BY_CHANCE
    a, b = (board.places[number] for number in where.split("-"))
    short = 0.0
    for one, other in ((a, b), (b, a)):
        if board.contacts[other].role == "ground":
            short = max(short, _shorts(story, board, one))
    return max(short * SURE, BETWEEN_BY_CHANCE), BETWEEN_BY_CHANCE


def _bridged_to_ground(story: Story, board: Board, where: str) -> Likely:
    """Whatever holds the contact to ground was read of it already; a bridge is among the lowest of those."""
    told = story.kind == "bridge" and story.subject == where
    return (SURE if told else HELD_BELOW_BRIDGE), HELD_BELOW_BRIDGE


def _bridged_as_read(story: Story, board: Board, where: str) -> Likely:
    """What was read already is as low as a bridge: whatever holds the contact answers alike."""
    return SURE, SURE


def _shorts(story: Story, board: Board, contact: int) -> float:
    """How likely a story shorts a contact, or the rail it belongs to, to ground."""
    net = board.contacts[contact].net
    short = 0.0
    for index, mixture in story.footprint.items():
        if index == contact or (net is not None and board.contacts[index].net == net):
            for state, weight in mixture:
                short = max(short, weight if state == SHORT else 0.0)
    return short


def _part_open(story: Story, board: Board, where: str) -> Likely:
    gone = story.kind in ("series_open", "part_knocked_off") and story.part == where
    return (SURE if gone else 1 - SURE), 1 - SURE


def _concerns(story: Story, board: Board, where: str) -> bool:
    concerned = any(board.contacts[index].number == where for index in story.contacts)
    return concerned and story.kind not in ROUND_THE_SOCKET


def _tail_normal(story: Story, board: Board, where: str) -> Likely:
    """A torn contact's tail reads on, unless its pad went with it; any other fault is behind the tail too."""
    if not _concerns(story, board, where):
        return SURE, SURE
    return (1 - LIFTED_PAD if story.kind == "contact_torn" else 1 - SURE), SURE


def _pad_normal(story: Story, board: Board, where: str) -> Likely:
    """The pad, or the near end of the first part: behind a torn contact and behind its lifted pad too."""
    if not _concerns(story, board, where):
        return SURE, SURE
    return (SURE if story.kind == "contact_torn" else 1 - SURE), SURE


def _fault_behind(story: Story, board: Board, where: str) -> Likely:
    concerns = any(
        (series := first_series(board.contacts[index])) is not None and series.part == where
        for index in (*story.contacts, *story.footprint)
    )
    if not concerns:
        return 0.5, 0.5
    if story.kind in BEHIND_KINDS:
        return BEHIND_SERIES_CHIP, 0.5
    return (BEHIND_SERIES_SHUNT if story.kind not in BEFORE_KINDS else 1 - SURE), 0.5


def _rail_low(story: Story, board: Board, where: str) -> Likely:
    return (SURE if story.kind == "rail_short" and story.subject == where else 1 - SURE), 1 - SURE


def _contact_leaks(story: Story, board: Board, where: str) -> Likely:
    leaks = story.kind in ("leak", "wet", "bridge", "shunt_short") and _concerns(story, board, where)
    return (SURE if leaks else 1 - SURE), 1 - SURE


def _strap_open(story: Story, board: Board, where: str) -> Likely:
    gone = story.kind in ("contact_torn", "part_knocked_off", "series_open") and _concerns(story, board, where)
    return (SURE if gone else 1 - SURE), 1 - SURE


def _rail_off(story: Story, board: Board, where: str) -> Likely:
    """A rail whose feed is open or that is shorted is not made; so is one nobody switched on."""
    here = [(board.contacts[index].net or board.contacts[index].number) == where for index in story.contacts]
    off = story.kind in ("series_open", "rail_short") and any(here)
    return (SURE if off else RAIL_OFF_OTHERWISE), RAIL_OFF_OTHERWISE


def _led_at_input(story: Story, board: Board, where: str) -> Likely:
    lit = any(board.contacts[index].role in ("led_plus", "led_minus") for index in story.footprint)
    driver = story.kind in BEHIND_KINDS and lit
    return (LED_AT_INPUT_DRIVER if driver else LED_AT_INPUT_OTHERWISE), LED_AT_INPUT_OTHERWISE


def _led_over(story: Story, board: Board, where: str) -> Likely:
    return (LED_OVER_MODULE if story.kind == "elsewhere" else LED_OVER_OTHERWISE), LED_OVER_OTHERWISE


def _says_nothing(story: Story, board: Board, where: str) -> Likely:
    return 0.5, 0.5


ANSWERS: dict[str, Callable[[Story, Board, str], Likely]] = {
    "plug_rail_low": _plug_rail_low,
    "meter_as_told": _meter_as_told,
    "volts_left": _volts_left,
    "bridged": _bridged,
    "bridged_to_ground": _bridged_to_ground,
    "bridged_as_read": _bridged_as_read,
    "part_open": _part_open,
    "tail_normal": _tail_normal,
    "pad_normal": _pad_normal,
    "fault_behind": _fault_behind,
    "rail_low": _rail_low,
    "contact_leaks": _contact_leaks,
    "strap_open": _strap_open,
    "rail_off": _rail_off,
    "led_at_input": _led_at_input,
    "led_over": _led_over,
    "rails_joined": _says_nothing,
    "may_be_honest": _says_nothing,
}
"""What each question is worth. Two rails joined, or a core rail low beside no healthy one, speak for no story."""
