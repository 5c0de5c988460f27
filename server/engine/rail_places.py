"""Rails measured elsewhere than by a drop: low in ohms or honestly so, joined to another rail, made when powered."""

import math

from server.engine.accept import Touched
from server.engine.accepted_board import Board
from server.engine.constants.answers import (
    HONEST_LOW_OHM,
    LEAD_NULL_OHM,
    RAIL_MADE_SHARE,
    RAIL_OFF_SHARE,
    RAIL_OHM_SD,
    RAIL_OVER_SHARE,
)
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.robust import median
from server.engine.wording_shorts import UNNAMED_CORE
from shared_models.board import Contact
from shared_models.reading import AtContact, AtRail, AtTestPoint, Ohms, Touch
from shared_models.tables import ROLE_BY_ID

HONESTLY_LOW = ("core_rail", "core_rail_large", "memory_rail")
"""Roles whose healthy rails read a few ohms, or some ten: low says nothing without a healthy board beside it."""
TO = " to "


def contact_of_rail(board: Board, net: str) -> Contact | None:
    """The first contact of a rail, by the name its stories use."""
    for contact in board.contacts:
        if ROLE_BY_ID[contact.role].is_rail and (contact.net or contact.number) == net:
            return contact
    return None


def known_rail_ohms(board: Board, known: list[Touched]) -> dict[str, list[float]]:
    """What each rail measured to ground on healthy boards, in ohms, by its name."""
    told: dict[str, list[float]] = {}
    for touched in known:
        net = net_of(board, touched.reading.touch)
        if net is not None and isinstance(touched.value, Ohms):
            told.setdefault(net, []).append(touched.value.ohm)
    return told


def healthy_rail_low(board: Board, net: str, ohm: float, known: dict[str, list[float]]) -> bool | None:
    """Whether a rail is lower in ohms than it should be; None where it may be honest and nobody measured a healthy one.

    Typed with the leads nulled. Against healthy boards: more than three deviations below their middle, a spread of
    `RAIL_OHM_SD` of it and what nulled leads leave taken together.
    """
    healthy = known.get(net, [])
    if healthy:
        middle = median(healthy)
        return ohm < middle - VERDICT_Z_RETOUCH * math.hypot(RAIL_OHM_SD * middle, LEAD_NULL_OHM)
    contact = contact_of_rail(board, net)
    if contact is not None and contact.role in HONESTLY_LOW and ohm < HONEST_LOW_OHM:
        return None
    return ohm < HONEST_LOW_OHM


def joined_name(one: str, other: str) -> str:
    """The name a touch from rail to rail goes by."""
    return f"{one}{TO}{other}"


def where_joined(board: Board, name: str) -> str | None:
    """The name again if it speaks of two rails of the board, as `3V3D to VCORE`, or of one and a core nobody named."""
    one, word, other = name.partition(TO)
    known = [net.name for net in board.version.nets if net.rail_kind not in (None, "ground")]
    known += [contact.net or contact.number for contact in board.contacts if ROLE_BY_ID[contact.role].is_rail]
    return name if word and one in known and other in (*known, UNNAMED_CORE) else None


def volts_finding(board: Board, touch: Touch, volts_mv: float) -> tuple[str, str, bool] | None:
    """(code, rail, whether so) for volts on a powered board: made, off, LED+ at its input, LED+ over its limit.

    None where the rail or its working voltage is not known.
    """
    net = net_of(board, touch)
    contact = contact_of_rail(board, net) if net is not None else None
    if net is None or contact is None or not contact.working_mv:
        return None
    share = volts_mv / contact.working_mv
    if contact.role == "led_plus":
        if share > RAIL_OVER_SHARE:
            return "led_over", net, True
        if RAIL_OFF_SHARE <= share < RAIL_MADE_SHARE:
            return "led_at_input", net, True
    return "rail_off", net, share < RAIL_OFF_SHARE


def net_of(board: Board, touch: Touch) -> str | None:
    """The rail a touch speaks of: by name, by a contact of it, or by the place its voltage is proved at."""
    if isinstance(touch, AtRail):
        return touch.net
    if isinstance(touch, AtContact):
        contact = board.contacts[board.places[touch.contact]]
        return (contact.net or contact.number) if ROLE_BY_ID[contact.role].is_rail else None
    if isinstance(touch, AtTestPoint):
        return next((net.name for net in board.version.nets if net.proof_at == touch.name), None)
    return None
