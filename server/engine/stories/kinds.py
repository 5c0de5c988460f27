"""What a story is, and the scene it is told about.

A footprint maps a contact (index in the order they lie) to a mixture of states: pairs of
(component of `drops`, weight). Contacts not in it are as healthy boards are, but for a small base
rate of unrelated odd ones.
"""

from collections.abc import Iterable
from itertools import pairwise
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.stories import INTAKE_FACTORS, SHARE, SYMPTOM_FACTORS
from server.engine.drops import BAND, HIGH, LEAK, LOST, OPEN, OTHER_LEAD, RESIDUAL, SHIFTED, SHORT, UPPER
from server.engine.exposures import exposed
from server.engine.overstress import beside, net_key
from server.engine.roles import chip_of, healthy_ol
from shared_models.job import Intake, Symptom, WhatHappened
from shared_models.opinion import DecisionKind, StoryKind
from shared_models.sheet import Shop
from shared_models.tables import ROLE_BY_ID

Mixture = tuple[tuple[int, float], ...]
STATE_OF = {
    "expected": BAND,
    "short": SHORT,
    "low": LEAK,
    "open": OPEN,
    "high": HIGH,
    "lost": LOST,
    "shifted": SHIFTED,
    "other_lead": OTHER_LEAD,
    "residual": RESIDUAL,
    "upper": UPPER,
}
FAMILIES_OF = {
    "series_open": ("series_open_led", "series_open_rail", "series_open_signal"),
    "chip_damaged": ("chip_led_driver", "chip_other"),
    "rail_short": ("rail_short_led", "rail_short_panel", "rail_short_other"),
}
"""Kinds of stories that are told by more than one family; every other kind has a family of its own name."""


class Story(NamedTuple):
    """One story: kind and subject name it; `weight` is its prior, not normalised.

    `hit` lists contacts that met a voltage, where a mark may be seen; `live` says that power was on.
    `feeds` lists the nets whose fuse goes with it. `decision` is (kind, subject) of what one would do.
    `exposed`: contacts of the footprint with the class of exposure (`exposures`) their mixture is of.
    """

    kind: StoryKind
    subject: str
    weight: float
    footprint: dict[int, Mixture]
    decision: tuple[DecisionKind, str]
    data_at_risk: bool = False
    live: bool = False
    hit: tuple[int, ...] = ()
    hit_plugs: tuple[int, ...] = ()
    feeds: tuple[str, ...] = ()
    part: str | None = None
    contacts: tuple[int, ...] = ()
    exposed: tuple[tuple[int, str], ...] = ()


class Scene(NamedTuple):
    """What stories are told about: the board, what was said, and who lies beside whom.

    `neighbours[c]`: contacts beside c along its row, then the one across from it. `nets`: rail contacts by
    net, in order.
    `chips`: signal contacts by the chip they lead to. `shop`: what its closed jobs taught, if anything.
    """

    board: Board
    factors: dict[str, float]
    neighbours: list[list[int]]
    nets: dict[str, list[int]]
    chips: dict[str, list[int]]
    shop: Shop | None = None


def scene_of(board: Board, intake: Intake, shop: Shop | None) -> Scene:
    """The scene for a board and an intake."""
    neighbours: list[list[int]] = [[] for _ in board.contacts]
    for row in board.spots:
        for left, right in beside(pairwise(row)):
            neighbours[left].append(right)
            neighbours[right].append(left)
    for left, right in across_rows(board):
        neighbours[left].append(right)
        neighbours[right].append(left)
    nets: dict[str, list[int]] = {}
    chips: dict[str, list[int]] = {}
    for index, contact in enumerate(board.contacts):
        if ROLE_BY_ID[contact.role].is_rail:
            nets.setdefault(net_key(contact), []).append(index)
        elif contact.role not in ("ground", "unconnected", "strap", "unknown"):
            chips.setdefault(chip_of(contact) or "", []).append(index)
    return Scene(board, _factors(intake, shop), neighbours, nets, chips, shop)


def across_rows(board: Board) -> list[tuple[int, int]]:
    """Contacts that face each other in two rows of equal length."""
    if len(board.spots) != 2 or len(board.spots[0]) != len(board.spots[1]):
        return []
    return list(beside(zip(board.spots[0], board.spots[1], strict=True)))


def _factors(intake: Intake, shop: Shop | None) -> dict[str, float]:
    factors = said_factors(intake.what_happened, intake.symptoms)
    for weight in sorted(shop.weights, key=lambda one: one.story) if shop is not None else ():
        for kind in families_of(weight.story):
            factors[kind] *= weight.factor
    return factors


def said_factors(what_happened: Iterable[WhatHappened], symptoms: Iterable[Symptom]) -> dict[str, float]:
    """What was said at the counter, as a factor on the share of each family."""
    factors = dict.fromkeys(SHARE, 1.0)
    told = [INTAKE_FACTORS.get(one, {}) for one in sorted(what_happened)]
    told += [SYMPTOM_FACTORS.get(one, {}) for one in sorted(symptoms)]
    for one in told:
        for kind, factor in one.items():
            factors[kind] *= factor
    return factors


def families_of(story: str) -> tuple[str, ...]:
    """The families of `SHARE` that tell stories of a kind, or the one family of that name."""
    return FAMILIES_OF.get(story, (story,) if story in SHARE else ())


def share(scene: Scene, family: str, instances: int) -> float:
    """The prior of one of `instances` stories of a family: its share, what was said, spread evenly."""
    return SHARE[family] * scene.factors[family] / max(1, instances)


def mixture(table: dict[str, float]) -> Mixture:
    """A mixture of states from a table of words."""
    return tuple((STATE_OF[word], weight) for word, weight in table.items())


def hurt(scene: Scene, name: str) -> Mixture:
    """The mixture of states of a line of one class of exposure."""
    return mixture(exposed(name, scene.shop))


def at_risk(scene: Scene, part: str | None) -> bool:
    """Whether that part holds or guards the owner's data."""
    known = scene.board.parts.get(part or "")
    return known is not None and (known.holds_data or known.guards_data)


def shows_chip(scene: Scene, contact: int) -> bool:
    """Whether what happens to the chip behind can be read here at all: not through a part that blocks the meter."""
    return not healthy_ol(scene.board.contacts[contact])


def shows_open(scene: Scene, contact: int) -> bool:
    """Whether an open behind this contact would change its reading at all."""
    one = scene.board.contacts[contact]
    return not healthy_ol(one) and one.role != "unknown"
