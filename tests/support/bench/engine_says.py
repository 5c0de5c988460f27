"""The engine as a judge. The one place of the bench that calls it, and that looks behind its door.

Behind the door it needs: the whole posterior over stories (an opinion shows the leading eight), and the state of
each contact. What of its stories counts as the same class is `class_of`.
"""

import math
from typing import NamedTuple

from server.engine.accept import Notes, accept_readings
from server.engine.account import _led_odds
from server.engine.constants.next_touch import COUNTED_DIFFERENTLY
from server.engine.door import form_opinion
from server.engine.drops import BAND, HIGH, LEAK, LEAK_BEHIND, LOST, OPEN, SHORT, SHORT_BEHIND, UPPER
from server.engine.inference import judge
from server.engine.numbering import AS_DRAWN
from server.engine.prepared import prepare
from server.engine.stories.kinds import Story
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from tests.support.bench.sockets import SocketPlan
from tests.support.bench.story_world import Told, bridge_class, chip_class, line_class, wet_class

OWN_MISTAKES = ("leads_swapped", "meter_differs", "still_powered")
"""Stories of a technician's mistakes that the world never makes: each a class of its own."""

WORLD_STATE = {
    BAND: "healthy", SHORT: "short", LEAK: "leak", OPEN: "open", HIGH: "raised", LOST: "raised",
    SHORT_BEHIND: "short", LEAK_BEHIND: "leak", UPPER: "healthy",
}  # fmt: skip


class ContactSaid(NamedTuple):
    """Of each contact: the chance that it is not as expected, whether it is to be touched again, its band's centre."""

    odd: list[float]
    touch_again: list[bool]
    centre_mv: list[float | None]


def of_contacts(opinion: Opinion, plan: SocketPlan) -> ContactSaid:
    by_number = {one.contact: one for one in opinion.contacts}
    ordered = [by_number[line.number] for line in plan.lines]
    return ContactSaid(
        [1 - one.odds.expected for one in ordered],
        [one.touch_again for one in ordered],
        [one.band.centre_mv for one in ordered],
    )


def rates_before(sheet: BenchSheet, plan: SocketPlan) -> list[list[float]]:
    """Of each contact, before anything was read, the chances that it is healthy, short, leaky, high, open."""
    by_number = {one.contact: one.odds for one in form_opinion(sheet).contacts}
    told = [by_number[line.number] for line in plan.lines]
    return [[one.expected, one.short, one.low, one.high, one.open] for one in told]


def opinion_of(sheet: BenchSheet) -> Opinion:
    return form_opinion(sheet)


def class_odds(sheet: BenchSheet, plan: SocketPlan) -> dict[str, float]:
    """The probability of every class, pairs of stories counted under the leading one as an opinion does."""
    prepared = prepare(sheet)
    notes = Notes(list(prepared.notes.questions), list(prepared.notes.set_aside))
    judged = judge(sheet, prepared, accept_readings(sheet, prepared.board, notes))
    odds, _ = _led_odds(judged)
    counted = sum(weight for weight, order in judged.counting.orders if order.name != AS_DRAWN)
    told: dict[str, float] = {"counted": counted}
    for place, weight in odds.items():
        name = class_of(judged.prepared.stories[place], plan)
        told[name] = told.get(name, 0.0) + weight * (1 - counted)
    return told


def stories_told(sheet: BenchSheet, plan: SocketPlan) -> list[Told]:
    """The engine's stories with its shares and footprints, in the world's words: for ideal inference on its tables.

    What a state reads (which leaks, how high) stays the world's. Mistakes that the world never makes are left out.
    """
    prepared = prepare(sheet)
    told = [Told("wrong_end", "counted", COUNTED_DIFFERENTLY * math.fsum(one.weight for one in prepared.stories))]
    for story in prepared.stories:
        kind = {"contact_torn": "torn", "other_revision": "revision"}.get(story.kind, story.kind)
        if story.kind in OWN_MISTAKES:
            continue
        states: dict[int, dict[str, float]] = {}
        if story.kind not in ("bridge", "other_revision"):
            for contact, mixture in story.footprint.items():
                shares = states.setdefault(contact, {})
                for state, weight in mixture:
                    shares[WORLD_STATE[state]] = shares.get(WORLD_STATE[state], 0.0) + weight
        bridge = (story.contacts[0], story.contacts[1]) if story.kind == "bridge" else None
        chip = (story.part or "") if story.kind == "other_revision" else ""
        told.append(Told(kind, class_of(story, plan), story.weight, states, bridge, chip))
    return told


def class_of(story: Story, plan: SocketPlan) -> str:
    """The class of one of the engine's stories."""
    contacts = sorted(story.footprint)
    if story.kind == "bridge":
        return bridge_class(plan, *story.contacts)
    if story.kind == "contact_torn":
        return f"line {plan.lines[contacts[0]].number}"
    if story.kind in OWN_MISTAKES or story.kind == "separate_faults":
        return story.kind
    if story.kind == "other_revision":
        return f"revision {story.part}"
    if not contacts:
        return "healthy"
    if story.kind == "plug_off_by":
        return f"slip {story.subject}"
    if story.kind == "plug_tilted":
        return "tilt start" if 0 in contacts or plan.lines[contacts[0]].place == 0 else _tilt_end(story, plan)
    if story.kind == "wet":
        return wet_class(plan, contacts)
    if story.kind in ("chip_damaged", "plugged_live", "cracked_joint"):
        lines = [i for i in contacts if plan.lines[i].conducts and not plan.lines[i].is_rail]
        return chip_class(plan, story.part or "", lines or contacts)
    return line_class(plan, contacts[0])


def _tilt_end(story: Story, plan: SocketPlan) -> str:
    longest = max(len(row) for row in plan.rows)
    places = [plan.lines[i].place for i in story.footprint]
    return "tilt start" if max(places) < longest / 2 else "tilt end"
