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
    found = _once(board, cells, to, lead, is_freed=is_freed)
    if lead == "red":
        return found
    for _ in range(STRAIGHTEN_ROUNDS):
        anew = {(contact, lead): _carried_anew(cells[contact, lead], line, to) for contact, line in found.lines.items()}
        found = _once(board, {**cells, **anew}, to, lead, is_freed=is_freed)
    lines = {
        contact: line._replace(doubt_mv=math.hypot(line.doubt_mv, line.shared_mv), shared_mv=0.0)
        for contact, line in found.lines.items()
    }
    return Straight(lines, found.ideality_sd)


def _once(
    board: Board, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround, *, is_freed: bool
) -> Straight:
    groups = _groups(board, cells, to, lead, is_freed=is_freed)
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


def _groups(
    board: Board, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround, *, is_freed: bool
) -> list[_Group]:
    members: dict[str, list[int]] = {}
    paths: dict[int, Path] = {}
    for contact, one in enumerate(board.contacts):
        path = path_under(one, lead)
        if path is not None and (contact, lead) in cells and cells[contact, lead].values:
            paths[contact] = path
            members.setdefault(leans_with(one) or f"net {one.net or one.number}", []).append(contact)
    groups = []
    for _, of in sorted(members.items()):
        own, shared = spreads_of(board.contacts[of[0]], lead)
        if not leans_with(board.contacts[of[0]]):
            own, shared = NET_FOLLOWER_SD_MV, own  # contacts of one rail move together
        groups.append(
            _group({contact: cells[contact, lead] for contact in of}, paths, math.hypot(own, NOISE_PERSON_MV), shared,
                   to, is_freed=is_freed)
        )
    return groups


def _group(
    cells: dict[int, ReferenceCell], paths: dict[int, Path], scatter: float, lean: float, to: Conditions,
    *, is_freed: bool,
) -> _Group:
    vt = VT_MV_PER_K * (KELVIN + to.air_c)
    sums: dict[str, list[float]] = {}
    common: dict[str, float] = {}
    for contact, cell in cells.items():
        middle = math.fsum(cell.values) / len(cell.values)
        for name, value, (step, ratio), at in zip(cell.boards, cell.values, cell.steps, cell.taken_at, strict=True):
            row = sums.setdefault(name, [0.0, 0.0, 0.0, 0.0])
            for place, part in enumerate((-step, -vt * ratio, value - middle, 1.0)):
                row[place] += part
            per_log, per_k = slopes(value, paths[contact], to.current_ma, to.air_c)
            common[name] = math.hypot(per_log * at.current_sd, per_k * at.air_sd_k)
    points = {name: (row[0] / row[-1], row[1] / row[-1], row[2] / row[-1]) for name, row in sums.items()}
    alone = {name: scatter * scatter / row[-1] + lean * lean for name, row in sums.items()}
    whole = {name: alone[name] + common[name] * common[name] for name in sums}
    told = _told([(*points[name], 1 / whole[name]) for name in sorted(points)])
    freed = _told([(*points[name], 1 / alone[name]) for name in sorted(points)]) if is_freed else told
    return _Group(cells, paths, scatter, {name: one[-1] for name, one in points.items()}, told, freed)


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
    whole = math.fsum(point[-1] for point in points)
    mean_r, mean_n, mean = (math.fsum(point[place] * point[-1] for point in points) / whole for place in (0, 1, 2))
    rr = rn = nn = r = n = 0.0
    for x, y, value, strength in points:
        dx, dy, dv = x - mean_r, y - mean_n, value - mean
        rr, rn, nn = rr + strength * dx * dx, rn + strength * dx * dy, nn + strength * dy * dy
        r, n = r + strength * dx * dv, n + strength * dy * dv
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
        path._replace(
            ideality=path.ideality + ideality,
            series_ohm=path.series_ohm + ohm,
            series_sd_ohm=math.sqrt(cov[0] + group_cov[0]),
            ideality_sd=math.sqrt(cov[-1]),
            shared_ideality_sd=math.sqrt(group_cov[-1]),
            own_series_sd_ohm=math.sqrt(cov[0]),
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
