"""Touches of one contact as one thing seen, with the contact as drawn.

Touches confirm or contradict each other before they become one likelihood. A sheet counted from
another end is moved to the drawing here, and nowhere else.
"""

import math
from typing import NamedTuple

from msgspec import structs

from server.engine.accept import Facts, Touched
from server.engine.constants.readings import DOUBLE_TOUCH_MV
from server.engine.numbering import AS_DRAWN, Counting
from server.engine.prepared import Prepared
from shared_models.job import Observation
from shared_models.reading import AtContact, BetweenContacts, Drop, Steadiness


class Seen(NamedTuple):
    """One contact under one lead as it was read: the value that stands, and how surely.

    `drop_mv` is None for OL. `touches` how many were made, `agreeing` how many say the same.
    `rival` is the other number when two touches contradict each other.
    """

    contact: int
    lead: str
    meter_id: str
    drop_mv: float | None
    steadiness: Steadiness | None
    touches: int
    agreeing: int
    rival: tuple[float | None] | None
    reading_ids: tuple[str, ...]
    written: str


def gather(prepared: Prepared, facts: Facts, to_drawn: list[int]) -> dict[tuple[int, str], Seen]:
    """Touches of one contact and lead, oldest first, as one thing seen."""
    rows: dict[tuple[int, str], list[Touched]] = {}
    later: list[Touched] = []
    for touched in facts.sweep:
        written = prepared.board.places[getattr(touched.reading.touch, "contact", "")]
        key = (to_drawn[written], touched.reading.lead_on_ground or "red")
        if touched.reading.numbered_as_drawn or (key in rows and not _alike(touched, rows[key][0])):
            later.append(touched)
        else:
            rows.setdefault(key, []).append(touched)
    for touched in later:
        written = prepared.board.places[getattr(touched.reading.touch, "contact", "")]
        lead = touched.reading.lead_on_ground or "red"
        drawn = rows.get((written, lead), [])
        # once the counting was put right, a contact is named as drawn: a second touch that contradicts
        # the first under the old count and confirms another contact under the drawing means that one
        as_drawn = touched.reading.numbered_as_drawn or any(_alike(touched, one) for one in drawn)
        rows.setdefault((written if as_drawn else to_drawn[written], lead), []).append(touched)
    return {key: _one_seen(key, touches) for key, touches in sorted(rows.items())}


def _alike(one: Touched, other: Touched) -> bool:
    """Two touches that say the same: both OL, or two drops close together."""
    if isinstance(one.value, Drop) and isinstance(other.value, Drop):
        return abs(one.value.drop_mv - other.value.drop_mv) <= DOUBLE_TOUCH_MV
    return not isinstance(one.value, Drop) and not isinstance(other.value, Drop)


def _one_seen(key: tuple[int, str], touches: list[Touched]) -> Seen:
    """The number most touches agree on; the latest when none do, with its rival."""
    values = [touched.value.drop_mv if isinstance(touched.value, Drop) else None for touched in touches]
    groups: list[list[int]] = []
    for place, value in enumerate(values):
        for group in groups:
            first = values[group[0]]
            if (value is None and first is None) or (
                value is not None and first is not None and abs(value - first) <= DOUBLE_TOUCH_MV
            ):
                group.append(place)
                break
        else:
            groups.append([place])
    best = max(groups, key=lambda group: (len(group), group[-1]))
    told = [value for value in (values[place] for place in best) if value is not None]
    rivals = [group for group in groups if group is not best and len(group) == len(best)]
    last = touches[best[-1]].reading
    return Seen(
        key[0],
        key[1],
        last.meter_id,
        math.fsum(told) / len(told) if told else None,
        last.steadiness,
        len(touches),
        len(best),
        (values[rivals[-1][-1]],) if rivals else None,
        tuple(touched.reading.id for touched in touches),
        getattr(last.touch, "contact", ""),
    )


def as_drawn(prepared: Prepared, touched: Touched, counting: Counting, seen: dict[tuple[int, str], Seen]) -> Touched:
    """A reading at another place of a contact, with the contact's number as drawn.

    It carries the technician's own count unless it was pointed out on the drawing; a tail is looked at
    because its spring showed OL, which tells the two apart when nobody said.
    """
    touch, board = touched.reading.touch, prepared.board
    if touched.reading.numbered_as_drawn or counting.best.name == AS_DRAWN or touched.reading.subject != "board_socket":
        return touched
    if isinstance(touch, AtContact):
        written = board.places[touch.contact]
        moved = counting.best.to_drawn[written]
        own, other = seen.get((written, "red")), seen.get((moved, "red"))
        if own is not None and own.drop_mv is None and not (other is not None and other.drop_mv is None):
            return touched
        touch = AtContact(contact=board.contacts[moved].number)
    elif isinstance(touch, BetweenContacts):
        a, b = (
            board.contacts[counting.best.to_drawn[board.places[one]]].number
            for one in (touch.contact_a, touch.contact_b)
        )
        touch = BetweenContacts(contact_a=a, contact_b=b)
    return touched._replace(reading=structs.replace(touched.reading, touch=touch))


def drawn_observation(prepared: Prepared, seen: Observation, counting: Counting) -> Observation:
    """What was seen, with contact numbers as drawn; numbers the socket does not have are left out."""
    board = prepared.board
    numbers = tuple(
        board.contacts[counting.best.to_drawn[board.places[one]]].number for one in seen.contacts if one in board.places
    )
    return structs.replace(seen, contacts=numbers)
