"""How far healthy contacts stray on this very board, and what that says of each band: its scale and its tails.

How uncertain a spread is has a part that all contacts share, a part of the role, and one of the contact's own (inverse
chi-squared; Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.6). The contacts of this board tell of the
first two; of the third only a contact's own healthy boards do, and they have (`bands`).
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

from server.engine.bands import Healthy
from server.engine.constants.readings import OWN_SPREAD_DF, ROLE_SPREAD_DF, SPREAD_LEAST, SPREAD_SURE
from server.engine.prepared import Prepared

Key = tuple[int, str]


class Told(NamedTuple):
    """What contacts say of a spread: `contacts`, how many they are, each as far as it is healthy; `squares`, their
    squared deviations in scales of their bands, counted like them and added up.
    """

    contacts: float = 0.0
    squares: float = 0.0

    def with_one(self, other: "Told") -> "Told":
        """Both together."""
        return Told(self.contacts + other.contacts, self.squares + other.squares)

    def without(self, one: "Told") -> "Told":
        """What is left without one of them."""
        return Told(max(0.0, self.contacts - one.contacts), max(0.0, self.squares - one.squares))


class Strays(NamedTuple):
    """What each contact of the session's fit says, what those of each role say together, and what all do."""

    each: dict[int, Told]
    roles: dict[str, Told]
    board: Told


NOBODY = Told()


def strays_of(
    prepared: Prepared,
    shown_mv: Mapping[Key, float],
    weights: Mapping[Key, float],
    moved: Mapping[Key, tuple[float, float]],
) -> Strays:
    """How far the contacts of a fit stray. `weights`: how probably each is healthy; `moved`: (centre, scale) in mV of
    its band as the session moves it, by a fit without the contact itself: it does not hide its own deviation.
    """
    each: dict[int, Told] = {}
    roles: dict[str, Told] = {}
    board = NOBODY
    for key, weight in weights.items():
        loc, scale = moved[key]
        z = (shown_mv[key] - loc) / scale
        each[key[0]] = told = Told(weight, weight * z * z)
        role = prepared.board.contacts[key[0]].role
        roles[role] = roles.get(role, NOBODY).with_one(told)
        board = board.with_one(told)
    return Strays(each, roles, board)


def as_others_stray(prepared: Prepared, contact: int, band: Healthy, strays: Strays) -> tuple[float, float]:
    """(degrees of freedom of a contact's band, factor on its scale) once the others have shown how far they stray; the
    contact itself is left out. A band is widened as far as they say, and narrowed to `SPREAD_LEAST` at most: among
    healthy contacts the far ones count little in a fit.
    """
    if band.rests_on != "reference_boards" or band.path is None:
        return band.df, 1.0
    own = strays.each.get(contact, NOBODY)
    all_others = strays.board.without(own)
    role = strays.roles.get(prepared.board.contacts[contact].role, NOBODY).without(own)
    shared = 1 / max(1 / SPREAD_SURE, 1 / band.df - 1 / OWN_SPREAD_DF)
    by_board = (shared + all_others.squares) / (shared + all_others.contacts)
    by_role = (ROLE_SPREAD_DF * by_board + role.squares) / (ROLE_SPREAD_DF + role.contacts)
    df = 1 / (1 / OWN_SPREAD_DF + 1 / (shared + all_others.contacts))
    return max(band.df, df), max(SPREAD_LEAST, math.sqrt(by_role))
