"""What healthy boards read at several currents say of each line's ideality and series resistance.

A carried value is  centre - dR (step in mA) - dn Vt (logarithm of the ratio) + board + scatter,  with dR and dn what
the line's own n and resistance are beside what its path or role says, and `board` what one board's readings of a
group share: its meter and air, and how its chip leans. Lines of one chip and role are drawn alike, so dR and dn are a
group's, which is learnt from the mean of its lines on each board, plus a little of each line's own, learnt from how
the line differs from that mean; and part of dn is common to all groups of the socket. A hierarchical linear model
with Normal priors (Gelman et al., Bayesian Data Analysis, 3rd edition, chapter 15). Centres have flat priors.
"""

import math
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.meters import IDEALITY_HIGHEST, IDEALITY_LOWEST
from server.engine.constants.readings import NET_FOLLOWER_SD_MV, NOISE_PERSON_MV
from server.engine.constants.sessions import (
    CHIP_N_SHARE,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    KELVIN,
    SERIES_OWN_SD_OHM,
    STRAIGHTEN_ROUNDS,
    TINY_OHM,
    VT_MV_PER_K,
)
from server.engine.meters import Conditions, carry, slopes
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import Path, leans_with, path_under, spreads_of
from shared_models.reading import LeadOnGround


class Line(NamedTuple):
    """One line with its corrections: values on one current, its path, and what doubt about the path adds (mV): its
    own, and what its group shares but the rest of the socket does not. `ohm` and `ideality`: what was added to both.
    """

    values: list[float]
    path: Path
    doubt_mv: float
    shared_mv: float
    ohm: float = 0.0
    ideality: float = 0.0


class Straight(NamedTuple):
    """Every line, by contact; and the deviation of what all groups' idealities share, for the session to find."""

    lines: dict[int, Line]
    ideality_sd: float


class _Drawn(NamedTuple):
    """How lines of one chip and role are drawn: the path of each contact, the scatter of one, what they share (mV)."""

    paths: dict[int, Path]
    scatter: float
    lean: float


class _Told(NamedTuple):
    """What readings say of (dR, dn): information (rr, rn, nn), pull (r, n), mean steps."""

    rr: float
    rn: float
    nn: float
    r: float
    n: float
    mean_r: float
    mean_n: float


class _Group(NamedTuple):
    """Lines of one chip and role: `told` with the boards' common errors still in as scatter, `freed` without."""

    cells: dict[int, ReferenceCell]
    paths: dict[int, Path]
    scatter: float
    levels: dict[str, float]
    told: _Told
    freed: _Told


Two = tuple[float, float, float]
"""A symmetric 2 x 2 matrix: (rr, rn, nn)."""


def straightened(
    board: Board, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround, *, is_freed: bool
) -> Straight:
    """Every line read with this lead on ground on healthy boards; `to` is what they were carried to.

    `is_freed`: what meters and air did to each board was taken out of the cells; how sure one is of dR and dn is
    judged as if it were still in, since it was found from the same readings.
    With black on ground the load behind a clamp may be off by hundreds of ohms: there the readings are carried anew
    through what was found, and it is looked again. Each contact keeps what its group shares as its own doubt: a
    session finds it for red only.
    """
    drawn = _drawn(board, cells, lead)
    found = _once(drawn, cells, to, lead, is_freed=is_freed)
    if lead == "red":
        return found
    for _ in range(STRAIGHTEN_ROUNDS):
        anew = {(contact, lead): _carried_anew(cells[contact, lead], line, to) for contact, line in found.lines.items()}
        found = _once(drawn, anew, to, lead, is_freed=is_freed)
    lines = {
        contact: line._replace(doubt_mv=math.hypot(line.doubt_mv, line.shared_mv), shared_mv=0.0)
        for contact, line in found.lines.items()
    }
    return Straight(lines, found.ideality_sd)


def _once(
    drawn: list[_Drawn], cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround,
    *, is_freed: bool,
) -> Straight:
    groups = [
        _group(one, {contact: cells[contact, lead] for contact in one.paths}, to, is_freed=is_freed) for one in drawn
    ]
    common, common_sd = _common_ideality(groups)
    lines: dict[int, Line] = {}
    for group in groups:
        lines.update(_lines(group, common, VT_MV_PER_K * (KELVIN + to.air_c)))
    return Straight(lines, common_sd)


def _carried_anew(cell: ReferenceCell, line: Line, to: Conditions) -> ReferenceCell:
    """The same readings carried through the line's path, less what that path's change makes of them in a straight
    line: what is found from them is again the whole change.
    """
    vt = VT_MV_PER_K * (KELVIN + to.air_c)
    values = [
        carry(shown, line.path, to.current_ma - step, at.air_c, to.current_ma, to.air_c)
        - line.ohm * step
        - line.ideality * vt * ratio
        for (shown, _), (step, ratio), at in zip(cell.as_read, cell.steps, cell.taken_at, strict=True)
    ]
    return cell._replace(values=values)


def _drawn(board: Board, cells: dict[tuple[int, str], ReferenceCell], lead: LeadOnGround) -> list[_Drawn]:
    members: dict[str, dict[int, Path]] = {}
    for contact, one in enumerate(board.contacts):
        path = path_under(one, lead, board.parts)
        if path is not None and (contact, lead) in cells and cells[contact, lead].values:
            members.setdefault(leans_with(one) or f"net {one.net or one.number}", {})[contact] = path
    told = []
    for _, paths in sorted(members.items()):
        first = board.contacts[next(iter(paths))]
        own, shared = spreads_of(first, lead)
        if not leans_with(first):
            own, shared = NET_FOLLOWER_SD_MV, own  # contacts of one rail move together
        told.append(_Drawn(paths, math.hypot(own, NOISE_PERSON_MV), shared))
    return told


def _group(drawn: _Drawn, cells: dict[int, ReferenceCell], to: Conditions, *, is_freed: bool) -> _Group:
    paths, scatter, lean = drawn
    vt = VT_MV_PER_K * (KELVIN + to.air_c)
    sums: dict[str, list[float]] = {}
    last: dict[str, tuple[float, Path, Conditions]] = {}
    for contact, cell in cells.items():
        middle = math.fsum(cell.values) / len(cell.values)
        for name, value, (step, ratio), at in zip(cell.boards, cell.values, cell.steps, cell.taken_at, strict=True):
            row = sums.setdefault(name, [0.0, 0.0, 0.0, 0.0])
            row[0] -= step
            row[1] -= vt * ratio
            row[2] += value - middle
            row[-1] += 1
            last[name] = value, paths[contact], at
    points = {name: (row[0] / row[-1], row[1] / row[-1], row[2] / row[-1]) for name, row in sums.items()}
    alone = {name: scatter * scatter / row[-1] + lean * lean for name, row in sums.items()}
    told = _told([(*points[name], 1 / (alone[name] + _common_variance(*last[name], to))) for name in sorted(points)])
    freed = _told([(*points[name], 1 / alone[name]) for name in sorted(points)]) if is_freed else told
    return _Group(cells, paths, scatter, {name: one[-1] for name, one in points.items()}, told, freed)


def _common_variance(value: float, path: Path, at: Conditions, to: Conditions) -> float:
    """What meter and air do to all of a board's readings, at one of them (mV squared)."""
    per_log, per_k = slopes(value, path, to.current_ma, to.air_c)
    common = math.hypot(per_log * at.current_sd, per_k * at.air_sd_k)
    return common * common


def _common_ideality(groups: list[_Group]) -> tuple[float, float]:
    """(mean, deviation) of what the idealities of all groups share, each group's own parts integrated out."""
    each = 1 / (CHIP_N_SHARE * IDEALITY_SD * CHIP_N_SHARE * IDEALITY_SD)
    freed_info = told_info = 1 / (IDEALITY_SD * IDEALITY_SD)
    pull = 0.0
    for group in groups:
        prior = _prior_of(group)
        inner = _inverse((group.told.rr + prior[0], group.told.rn, group.told.nn + prior[-1]))
        told_info += each - each * each * inner[-1]
        inner = _inverse((group.freed.rr + prior[0], group.freed.rn, group.freed.nn + prior[-1]))
        freed_info += each - each * each * inner[-1]
        pull += each * (inner[1] * group.freed.r + inner[-1] * group.freed.n)
    return pull / freed_info, math.sqrt(1 / told_info)


def _prior_of(group: _Group) -> Two:
    """Precision of a group's (dR, dn) once what all groups share is known."""
    shared = group.paths[next(iter(group.cells))].series_sd_ohm
    return _inverse(_diagonal(shared, CHIP_N_SHARE * IDEALITY_SD))


def _lines(group: _Group, common: float, vt: float) -> dict[int, Line]:
    prior = _prior_of(group)
    cov = _inverse((group.told.rr + prior[0], group.told.rn, group.told.nn + prior[-1]))
    inner = _inverse((group.freed.rr + prior[0], group.freed.rn, group.freed.nn + prior[-1]))
    right_r, right_n = group.freed.r, group.freed.n + prior[-1] * common
    middle = inner[0] * right_r + inner[1] * right_n, inner[1] * right_r + inner[-1] * right_n
    shared = group.paths[next(iter(group.cells))].series_sd_ohm
    own = _inverse(_diagonal(min(shared, SERIES_OWN_SD_OHM), IDEALITY_OWN_SD))
    return {
        contact: _line(cell, group.paths[contact], _beside(cell, group, vt), own, middle, cov, vt)
        for contact, cell in group.cells.items()
    }


def _beside(cell: ReferenceCell, group: _Group, vt: float) -> _Told:
    """What one line says of how it differs from its group."""
    strength = 1 / (group.scatter * group.scatter)
    return _told(
        [
            (-step, -vt * ratio, value - group.levels[name], strength)
            for name, value, (step, ratio) in zip(cell.boards, cell.values, cell.steps, strict=True)
        ]
    )


def _told(points: list[tuple[float, float, float, float]]) -> _Told:
    """From (step of R, step of n, value, strength) of each board; the centre is eliminated."""
    whole = math.fsum([strength for *_, strength in points])
    mean_r = math.fsum([x * strength for x, _, _, strength in points]) / whole
    mean_n = math.fsum([y * strength for _, y, _, strength in points]) / whole
    mean = math.fsum([value * strength for _, _, value, strength in points]) / whole
    rr = rn = nn = r = n = 0.0
    for x, y, value, strength in points:
        dx, dy, dv = x - mean_r, y - mean_n, value - mean
        by_x, by_y = strength * dx, strength * dy
        rr, rn, nn = rr + by_x * dx, rn + by_x * dy, nn + by_y * dy
        r, n = r + by_x * dv, n + by_y * dv
    return _Told(rr, rn, nn, r, n, mean_r, mean_n)


def _line(
    cell: ReferenceCell,
    path: Path,
    told: _Told,
    own: Two,
    group: tuple[float, float],
    group_cov: Two,
    vt: float,
) -> Line:
    cov = _inverse((told.rr + own[0], told.rn, told.nn + own[-1]))
    ohm = group[0] + cov[0] * told.r + cov[1] * told.n
    ideality = group[1] + cov[1] * told.r + cov[-1] * told.n
    # no further than a junction can be: what is left over is the resistance's
    ideality = min(max(ideality, IDEALITY_LOWEST - path.ideality), IDEALITY_HIGHEST - path.ideality)
    ohm = max(ohm, -path.series_ohm)
    return Line(
        _laid(cell, ohm, ideality, vt),
        Path(
            path.ideality + ideality,
            path.series_ohm + ohm,
            math.sqrt(cov[0] + group_cov[0]),
            path.known,
            math.sqrt(cov[-1]),
            math.sqrt(group_cov[-1]),
            math.sqrt(cov[0]),
            path.before_ohm,
        ),
        _doubt(told, cov),
        _doubt(told, group_cov),
        ohm,
        ideality,
    )


def relaid(line: Line, cell: ReferenceCell, to: Conditions) -> Line:
    """The same line, with other values of its boards laid on one current."""
    return line._replace(values=_laid(cell, line.ohm, line.ideality, VT_MV_PER_K * (KELVIN + to.air_c)))


def _laid(cell: ReferenceCell, ohm: float, ideality: float, vt: float) -> list[float]:
    return [
        value + ohm * step + ideality * vt * ratio
        for value, (step, ratio) in zip(cell.values, cell.steps, strict=True)
    ]


def _doubt(told: _Told, cov: Two) -> float:
    """What a doubt about (dR, dn) makes of the centre, at the mean step, one deviation, in mV."""
    r, n = told.mean_r, told.mean_n
    return math.sqrt(max(0.0, r * r * cov[0] + 2 * r * n * cov[1] + n * n * cov[-1]))


def _diagonal(ohm: float, ideality: float) -> Two:
    return max(ohm * ohm, TINY_OHM * TINY_OHM), 0.0, ideality * ideality


def _inverse(one: Two) -> Two:
    rr, rn, nn = one
    determinant = rr * nn - rn * rn
    return nn / determinant, -rn / determinant, rr / determinant
