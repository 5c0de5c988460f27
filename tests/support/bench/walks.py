"""Touch by touch: where the engine sends the probe, beside a sweep and a random order.

After every touch the engine is asked; the decision is its leading one. Of what it proposes the bench can answer
contacts at their springs, touched once more too, and contact to contact; a proposal of another kind is passed over.
What nobody proposes any more is read in the order it lies, so that every walk ends with all contacts read.
Beside the sweep and the guided walk stands the near-ideal judge that looks at the same touches and knows its own last
word: it stops where it first says so. What is left between the two of them is what choosing the touches brings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from shared_models.opinion import NextTouch, Opinion
from shared_models.reading import AtContact, BetweenContacts
from tests.support.bench import engine_says
from tests.support.bench import tables as t
from tests.support.bench.ideal import Ideal
from tests.support.bench.ideal_stories import leading_decision
from tests.support.bench.jobs import Job
from tests.support.bench.joined import joined_ohm
from tests.support.bench.sheets import sheet
from tests.support.bench.sockets import SocketPlan

APART = "OL"
MOST_EXTRA = 12
"""Touches beside the contacts that a walk may take."""


@dataclass
class Walk:
    """What was touched so far; after each touch the seconds it took, the contacts read, and the leading decision."""

    job: Job
    read: list[int] = field(default_factory=list)
    again: list[int] = field(default_factory=list)
    between: list[tuple[int, int, str]] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    contacts_read: list[int] = field(default_factory=list)
    decisions: list[str] = field(default_factory=list)
    stopped_at: int | None = None

    def opinion(self) -> Opinion:
        return engine_says.opinion_of(
            sheet(self.job, self.job.story, order=self.read, again=self.again, between=self.between)
        )

    def touched(self, seconds: float) -> Opinion:
        told = self.opinion()
        self.seconds.append((self.seconds[-1] if self.seconds else 0.0) + seconds)
        self.contacts_read.append(len(self.read))
        self.decisions.append(_leading(told))
        going_on = told.stop is None or told.stop.code == "all_must_be_read"
        if not going_on and self.stopped_at is None:
            self.stopped_at = len(self.decisions)
        return told

    def read_contact(self, contact: int) -> Opinion:
        beside = bool(self.read) and contact in self.job.plan.neighbours(self.read[-1])
        self.read.append(contact)
        return self.touched(t.ALONG_S if beside else t.HOP_S)

    def settled(self) -> int:
        """After how many touches the decision was the last one's and stayed so."""
        at = len(self.decisions)
        while at > 1 and self.decisions[at - 2] == self.decisions[-1]:
            at -= 1
        return at


def _leading(told: Opinion) -> str:
    return f"{told.decisions[0].kind} {told.decisions[0].subject}"


def to_read(plan: SocketPlan) -> list[int]:
    """The contacts a walk ends with: all but most of the grounds."""
    return [contact for contact, line in enumerate(plan.lines) if line.role != "ground" or contact < 2]


def first_right(ideal: Ideal, order: Sequence[int]) -> int:
    """After how many contacts of an order the near-ideal judge first says what it says of all of them."""
    one = ideal.job.story
    last = leading_decision(ideal, one, order)
    return next(n for n in range(len(order) + 1) if leading_decision(ideal, one, order[:n]) == last)


def walk_row(job: Job, ideal: Ideal) -> dict[str, Any]:
    """The three walks of one job's story board."""
    contacts = to_read(job.plan)
    shuffled = list(contacts)
    job.rng("random order").shuffle(shuffled)
    walks = {"guided": _guided(job, contacts), "sweep": _in_order(job, contacts), "random": _in_order(job, shuffled)}
    story = job.story.story
    assert story is not None
    row: dict[str, Any] = {
        "job": job.index, "kind": story.kind, "damage": bool(job.story.condition.wrong(job.plan)),
        "contacts": len(contacts),
    }  # fmt: skip
    full = walks["sweep"].decisions[-1]
    for name in ("sweep", "guided"):
        row[f"{name}, near-ideal"] = _near_ideal(ideal, walks[name])
    row["moved"] = _leading(Walk(job).opinion()) != full
    for name, walk in walks.items():
        settled = walk.settled()
        stop = walk.stopped_at or len(walk.decisions)
        row[name] = {
            "touches": settled, "seconds": walk.seconds[settled - 1], "stop_touches": stop,
            "stop_seconds": walk.seconds[stop - 1], "stop_agrees": walk.decisions[stop - 1] == full,
            "end_agrees": walk.decisions[-1] == full, "all": len(walk.decisions),
        }  # fmt: skip
    return row


def _near_ideal(ideal: Ideal, walk: Walk) -> dict[str, Any]:
    """Touches and seconds of a walk until the near-ideal judge first says its last word; at least one touch."""
    read = first_right(ideal, walk.read)
    touches = max(1, 1 + next((n for n, count in enumerate(walk.contacts_read) if count >= read), 0))
    return {"touches": touches, "seconds": walk.seconds[touches - 1]}


def _in_order(job: Job, order: list[int]) -> Walk:
    walk = Walk(job)
    for contact in order:
        walk.read_contact(contact)
    return walk


def _guided(job: Job, contacts: list[int]) -> Walk:
    walk = Walk(job)
    told = walk.opinion()
    number = {line.number: i for i, line in enumerate(job.plan.lines)}
    while left := [i for i in contacts if i not in walk.read]:
        for proposed in told.next:
            after = _follow(walk, proposed, number)
            if after is not None:
                told = after
                break
        else:
            told = walk.read_contact(left[0])
    return walk


def _follow(walk: Walk, proposed: NextTouch, number: dict[str, int]) -> Opinion | None:
    """Does what is proposed; None where the bench has no answer, or gave it already."""
    told: Opinion | None = None
    touch = proposed.touch
    if isinstance(touch, BetweenContacts) and len(walk.between) < MOST_EXTRA:
        a, b = number[touch.contact_a], number[touch.contact_b]
        if (a, b) in [one[:2] for one in walk.between]:
            return None
        ohm = joined_ohm(walk.job.story.condition, walk.job.plan, a, b)
        walk.between.append((a, b, APART if ohm is None else f"{ohm:.4g}"))
        return walk.touched(t.BETWEEN_S)
    if not isinstance(touch, AtContact) or proposed.place != "spring" or proposed.subject != "board_socket":
        return None
    run = [number[one] for one in proposed.run or (touch.contact,)]
    if proposed.action == "read" and proposed.lead_on_ground == "red":
        for contact in run:
            if contact not in walk.read:
                told = walk.read_contact(contact)
    if proposed.action == "retouch":
        for contact in run:
            if contact in walk.read and contact not in walk.again:
                walk.again.append(contact)
                told = walk.touched(t.AGAIN_S if walk.read[-1] == contact else t.HOP_S)
    return told
