"""What does not change with the numbers read at healthy boards: how lines are drawn, and what the currents they were
read at can say of each line's n and series resistance. `straighten` asks it once for all its rounds.

A line's values stand away from its centre by  -dR (step in mA) - dn Vt (logarithm of the ratio), so the steps alone
decide how sure (dR, dn) become: the information of a linear model is free of what was measured.
"""

import math
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.readings import NET_FOLLOWER_SD_MV, NOISE_PERSON_MV
from server.engine.constants.sessions import (
    CHIP_N_SHARE,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    KELVIN,
    SERIES_OWN_SD_OHM,
    TINY_OHM,
    VT_MV_PER_K,
)
from server.engine.meters import Conditions
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import Path, leans_with, path_under, spreads_of
from shared_models.reading import LeadOnGround

Pair = tuple[float, float]
"""Of R and of n."""
Two = tuple[float, float, float]
"""A symmetric 2 x 2 matrix: (rr, rn, nn)."""


class Design(NamedTuple):
    """What some readings say of (dR, dn), whatever they are: the strength of each and of all together, how a reading
    that stands away from their mean pulls at r and n, information, mean steps.
    """

    strengths: list[float]
    whole: float
    pulls: list[Pair]
    information: Two
    mean_r: float
    mean_n: float

    def pull_of(self, values: list[float]) -> Pair:
        """How these readings together pull at r and n; their centre is eliminated."""
        weighed = [value * strength for value, strength in zip(values, self.strengths, strict=True)]
        mean = math.fsum(weighed) / self.whole
        r = n = 0.0
        for (by_r, by_n), value in zip(self.pulls, values, strict=True):
            away = value - mean
            r, n = r + by_r * away, n + by_n * away
        return r, n

    def doubt(self, cov: Two) -> float:
        """What a doubt about (dR, dn) makes of the centre, at the mean step, one deviation, in mV."""
        r, n = self.mean_r, self.mean_n
        return math.sqrt(max(0.0, r * r * cov[0] + 2 * r * n * cov[1] + n * n * cov[-1]))


class LineDrawn(NamedTuple):
    """One line: its path, what its boards' currents say of how it differs from its group, the covariance of that, and
    the doubt it leaves about the centre (mV).
    """

    path: Path
    design: Design
    cov: Two
    doubt_mv: float


class BoardOfGroup(NamedTuple):
    """What one board says of a group: its mean steps of R and n, how many readings, and of the one of them that stands
    for all what its contact is, its place among that contact's boards, and its conditions.
    """

    step_r: float
    step_n: float
    readings: int
    contact: int
    place: int
    at: Conditions


class GroupDrawn(NamedTuple):
    """Lines of one chip and role: `prior` is the precision of what they share once the socket's share is known,
    `variances` of each board's mean (mV squared), the boards' common errors apart; `freed` what the boards say so.
    """

    lines: dict[int, LineDrawn]
    prior: Two
    boards: dict[str, BoardOfGroup]
    variances: list[float]
    freed: Design


class Drawn(NamedTuple):
    """All lines that were read with one lead on ground, by group."""

    lead: LeadOnGround
    groups: list[GroupDrawn]


def drawn_lines(
    board: Board, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround
) -> Drawn:
    """Every line with a junction that healthy boards show a number at; `to` is what they were carried to."""
    members: dict[str, dict[int, Path]] = {}
    for contact, one in enumerate(board.contacts):
        path = path_under(one, lead, board.parts, board.grounds)
        if path is not None and (contact, lead) in cells and cells[contact, lead].values:
            members.setdefault(leans_with(one) or f"net {one.net or one.number}", {})[contact] = path
    vt = VT_MV_PER_K * (KELVIN + to.air_c)
    groups = []
    for _, paths in sorted(members.items()):
        first = next(iter(paths))
        own, shared = spreads_of(board.contacts[first], lead)
        if not leans_with(board.contacts[first]):
            own, shared = NET_FOLLOWER_SD_MV, own  # contacts of one rail move together
        of_group = {contact: cells[contact, lead] for contact in paths}
        groups.append(_group(paths, of_group, vt, math.hypot(own, NOISE_PERSON_MV), shared))
    return Drawn(lead, groups)


def _group(
    paths: dict[int, Path], cells: dict[int, ReferenceCell], vt: float, scatter: float, lean: float
) -> GroupDrawn:
    """`scatter`: of one line; `lean`: what one board's readings of the group share, one deviation each, mV."""
    shared_ohm = paths[next(iter(paths))].series_sd_ohm
    own = inverse(_diagonal(min(shared_ohm, SERIES_OWN_SD_OHM), IDEALITY_OWN_SD))
    strength = 1 / (scatter * scatter)
    lines = {contact: _line(paths[contact], cell, vt, strength, own) for contact, cell in cells.items()}
    boards = _boards(cells, vt)
    variances = [scatter * scatter / one.readings + lean * lean for one in boards.values()]
    steps = [(one.step_r, one.step_n) for one in boards.values()]
    return GroupDrawn(
        lines,
        inverse(_diagonal(shared_ohm, CHIP_N_SHARE * IDEALITY_SD)),
        boards,
        variances,
        design(steps, [1 / variance for variance in variances]),
    )


def _line(path: Path, cell: ReferenceCell, vt: float, strength: float, own: Two) -> LineDrawn:
    told = design([(-step, -vt * ratio) for step, ratio in cell.steps], [strength] * len(cell.steps))
    cov = posterior_of(told, own)
    return LineDrawn(path, told, cov, told.doubt(cov))


def _boards(cells: dict[int, ReferenceCell], vt: float) -> dict[str, BoardOfGroup]:
    """By name, sorted."""
    sums: dict[str, list[float]] = {}
    last: dict[str, tuple[int, int, Conditions]] = {}
    for contact, cell in cells.items():
        for place, (name, (step, ratio), at) in enumerate(zip(cell.boards, cell.steps, cell.taken_at, strict=True)):
            row = sums.setdefault(name, [0.0, 0.0, 0.0])
            row[0] -= step
            row[1] -= vt * ratio
            row[-1] += 1
            last[name] = contact, place, at
    told = {}
    for name in sorted(sums):
        step_r, step_n, count = sums[name]
        told[name] = BoardOfGroup(step_r / count, step_n / count, int(count), *last[name])
    return told


def design(steps: list[Pair], strengths: list[float]) -> Design:
    """From each reading's steps of R and of n, and its strength (1 / mV squared)."""
    both = list(zip(steps, strengths, strict=True))
    whole = math.fsum(strengths)
    mean_r = math.fsum([x * strength for (x, _), strength in both]) / whole
    mean_n = math.fsum([y * strength for (_, y), strength in both]) / whole
    rr = rn = nn = 0.0
    pulls: list[Pair] = []
    for (x, y), strength in both:
        dx, dy = x - mean_r, y - mean_n
        by_x, by_y = strength * dx, strength * dy
        pulls.append((by_x, by_y))
        rr, rn, nn = rr + by_x * dx, rn + by_x * dy, nn + by_y * dy
    return Design(strengths, whole, pulls, (rr, rn, nn), mean_r, mean_n)


def posterior_of(told: Design, prior: Two) -> Two:
    """The covariance of (dR, dn), whose prior has this precision (diagonal)."""
    rr, rn, nn = told.information
    return inverse((rr + prior[0], rn, nn + prior[-1]))


def _diagonal(ohm: float, ideality: float) -> Two:
    return max(ohm * ohm, TINY_OHM * TINY_OHM), 0.0, ideality * ideality


def inverse(one: Two) -> Two:
    """Of a symmetric 2 x 2 matrix."""
    rr, rn, nn = one
    determinant = rr * nn - rn * rn
    return nn / determinant, -rn / determinant, rr / determinant
