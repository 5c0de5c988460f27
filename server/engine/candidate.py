"""A candidate touch, its answers, and the hypotheses it is asked about.

`answers[h]` is the distribution of the answer if hypothesis h (one story, or two, or none of those
told) is true.
"""

import math
from typing import Literal, NamedTuple

from server.engine.constants.next_touch import HYPOTHESES_KEPT, ODD_MIN, OTHER_STORY
from server.engine.constants.touches import TOUCHES
from server.engine.evidence import likely_so
from server.engine.inference import Judged
from server.engine.stories.kinds import Story
from server.engine.verdicts import ContactState
from shared_models.opinion import NextTouch, Reason
from shared_models.reading import (
    LeadOnGround,
    Place,
    ReadingKind,
    Subject,
    Touch,
)

Row = tuple[float, ...]
Action = Literal[
    "read",
    "retouch",
    "other_polarity",
    "reseat",
    "known_good_module",
    "clean_and_read",
    "second_current",
    "torch",
    "draw",
    "heat",
    "millivolts",
    "lift_and_read",
]

EVEN: Row = (1 / (1 + 2), 1 / (1 + 2), 1 / (1 + 2))

TITLES = {
    "tail_normal": "Solder tail of {0}",
    "bridged": "{0} contact to contact",
    "part_open": "Ohms across {0}",
    "fault_behind": "Far end of {0}",
    "other_polarity": "{0} with the leads the other way round",
    "black_again": "{0} with the leads the other way round, once more",
    "second_current": "{0} with a smaller current",
    "plug_rail_low": "Rail ohms at the module's plug: {0}",
    "rail_low": "Ohms to ground: {0}",
    "retouch": "{0} once more",
    "clean_and_read": "{0} cleaned, dried and read again",
    "reseat": "Seat the module again",
    "known_good_module": "A known-good module or cable",
    "meter_as_told": "Diode mode across a {0}",
    "volts_left": "Volts at {0}",
    "rails_joined": "Ohms from {0}",
    "rail_off": "Volts at {0}, powered",
    "heat": "Inject into {0} and look for heat",
    "millivolts": "Millivolts along {0}",
    "lift_and_read": "{0} off the board, then {1} again",
    "torch": "A torch on the dark screen",
    "draw": "The supply's draw at the first power",
}


class Hypothesis(NamedTuple):
    """One or two stories taken as true together: posterior weight, the stories, the decision's number."""

    weight: float
    stories: tuple[Story, ...]
    decision: int


class Candidate(NamedTuple):
    """A touch that could be made: its row of `TOUCHES`, how it would be shown, its answers under each hypothesis.

    `finer_bits`: what it tells beyond the decision, as which part of a rail is short.
    """

    cost: str
    shown: NextTouch
    answers: list[Row]
    finer_bits: float = 0.0


def hypotheses(judged: Judged) -> list[Hypothesis]:
    """The most probable single stories and pairs, best first; last, that none of them is true.

    Without the last one a leading story would never be worth proving, however wrong the tables are.
    """
    stories = judged.prepared.stories
    decisions = judged.model.decisions
    single = len(stories)
    ranked = sorted(range(len(judged.post)), key=judged.post.__getitem__, reverse=True)[:HYPOTHESES_KEPT]
    known = [
        Hypothesis(
            (1 - OTHER_STORY) * judged.post[place],
            (stories[place],) if place < single else tuple(stories[one] for one in judged.pairs[place - single]),
            decisions[place],
        )
        for place in ranked
    ]
    return [*known, Hypothesis(OTHER_STORY, (), max(decisions) + 1)]


def odd_there(judged: Judged, states: list[ContactState], story: Story) -> bool:
    """Whether a contact the story speaks of was read and is odd: no part is measured on a mere possibility."""
    return any((contact, "red") in judged.seen and states[contact].odds[0] < ODD_MIN for contact in story.contacts)


def about(hypothesis: Hypothesis, contact: int) -> Story | None:
    """The story of a hypothesis that speaks of this contact."""
    for story in hypothesis.stories:
        if contact in story.footprint or contact in story.contacts:
            return story
    return None


def two(likely: float) -> Row:
    """The answers of a yes-or-no question whose yes has this probability."""
    return (likely, 1 - likely)


def answers_to(judged: Judged, known: list[Hypothesis], code: str, where: str) -> list[Row]:
    """Yes and no to a question of `evidence`, under each hypothesis; of two stories the one that speaks louder.

    If none of the stories told is true, the answer is what it is without any of them.
    """
    rows: list[Row] = []
    for hypothesis in known:
        stories = hypothesis.stories or judged.prepared.stories[:1]
        told = [likely_so(story, judged.prepared.board, code, where) for story in stories]
        likely, usual = max(told, key=lambda one: abs(math.log(one[0] / one[1])))
        rows.append(two(likely if hypothesis.stories else usual))
    return rows


def why_of(code: str, sentence: str, *contacts: str, part: str | None = None) -> Reason:
    """A reason to touch: its code, the sentence, and the contacts and part it speaks of."""
    return Reason(code=code, sentence=sentence, contacts=contacts, parts=(part,) if part else ())


def candidate(
    cost: str,
    title: str,
    touch: Touch,
    kind: ReadingKind,
    answers: list[Row],
    *,
    place: Place = "spring",
    subject: Subject = "board_socket",
    lead: LeadOnGround | None = "red",
    action: Action = "read",
    reasons: tuple[Reason, ...] = (),
    meter_id: str | None = None,
    finer_bits: float = 0.0,
) -> Candidate:
    """A candidate with the seconds and the risk that `cost` has in the table; its gain is filled in when ranked."""
    shown = NextTouch(
        touch=touch,
        kind=kind,
        title=title,
        gain_bits=0.0,
        seconds=TOUCHES[cost].seconds,
        risk=TOUCHES[cost].risk,
        subject=subject,
        place=place,
        lead_on_ground=lead,
        action=action,
        reasons=reasons,
        meter_id=meter_id,
    )
    return Candidate(cost, shown, answers, finer_bits)
