"""What healthy boards read at several currents say of each line's ideality and series resistance.

A carried value is  centre - dR (step in mA) - dn Vt (logarithm of the ratio) + scatter,  with dR and dn what the
line's own n and resistance are beside what its path or role says. Lines of one chip and role are drawn alike, so
dR and dn are a group's, which is learnt from all its lines together, plus a little of each line's own: a
hierarchical linear model with Normal priors (Gelman et al., Bayesian Data Analysis, 3rd edition, chapter 15). The
centre has a flat prior and is eliminated first, so each line says what it knows in two numbers and a 2 x 2 matrix.
"""

import math
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants import (
    IDEALITY_HIGHEST,
    IDEALITY_LOWEST,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    KELVIN,
    NOISE_PERSON_MV,
    SERIES_OWN_SD_OHM,
    STRAIGHTEN_ROUNDS,
    TINY_OHM,
    VT_MV_PER_K,
)
from server.engine.meters import Conditions, carry
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import Path, leans_with, path_under, spreads_of
from shared_models.reading import LeadOnGround


class Line(NamedTuple):
    """One line with its corrections: values on one current, its path, and what doubt about the path adds (mV): its
    own, and what its group shares. `ohm` and `ideality`: by how much the path differs from what its role says.
    """

    values: list[float]
    path: Path
    doubt_mv: float
    shared_mv: float
    ohm: float = 0.0
    ideality: float = 0.0


class _Told(NamedTuple):
    """What one line's boards say of (dR, dn): information (rr, rn, nn), pull (r, n), mean steps, path and key."""

    rr: float
    rn: float
    nn: float
    r: float
    n: float
    mean_r: float
    mean_n: float


Two = tuple[float, float, float]
"""A symmetric 2 x 2 matrix: (rr, rn, nn)."""


def straightened(
    board: Board, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, lead: LeadOnGround
) -> dict[int, Line]:
    """Every line read with this lead on ground on healthy boards, by contact; `to` is what they were carried to.

    With black on ground the load behind a clamp may be off by hundreds of ohms: there the readings are carried anew
    through what was found, and it is looked again. Each contact keeps what its group shares as its own doubt: a
    session finds it for red only.
    """
    groups: dict[str, list[int]] = {}
    paths: dict[int, Path] = {}
    for contact, one in enumerate(board.contacts):
        path = path_under(one, lead)
        if path is not None and (contact, lead) in cells and cells[contact, lead].values:
            paths[contact] = path
            groups.setdefault(leans_with(one) or one.number, []).append(contact)
    vt = VT_MV_PER_K * (KELVIN + to.air_c)
    lines: dict[int, Line] = {}
    for _, members in sorted(groups.items()):
        scatter = {contact: spreads_of(board.contacts[contact], lead)[0] for contact in members}
        here = {contact: cells[contact, lead] for contact in members}
        found = _group(here, paths, scatter, vt, {})
        for _ in range(0 if lead == "red" else STRAIGHTEN_ROUNDS):
            before = {contact: (line.ohm, line.ideality) for contact, line in found.items()}
            here = {contact: _carried_anew(cell, found[contact].path, to) for contact, cell in here.items()}
            found = _group(here, paths, scatter, vt, before)
        lines.update(found)
    if lead == "red":
        return lines
    return {
        contact: line._replace(doubt_mv=math.hypot(line.doubt_mv, line.shared_mv), shared_mv=0.0)
        for contact, line in lines.items()
    }


def _carried_anew(cell: ReferenceCell, path: Path, to: Conditions) -> ReferenceCell:
    """The same readings carried through another path."""
    values = [
        carry(shown, path, to.current_ma - step, at.air_c, to.current_ma, to.air_c)
        for (shown, _), (step, _), at in zip(cell.as_read, cell.steps, cell.taken_at, strict=True)
    ]
    return cell._replace(values=values)


def _group(
    cells: dict[int, ReferenceCell],
    paths: dict[int, Path],
    scatter: dict[int, float],
    vt: float,
    before: dict[int, tuple[float, float]],
) -> dict[int, Line]:
    """`before`: by how much (ohm, n) the path that the values were carried through already differs from `paths`."""
    already = {contact: before.get(contact, (0.0, 0.0)) for contact in cells}
    told = {contact: _told(cell, scatter[contact], vt, already[contact]) for contact, cell in cells.items()}
    shared = paths[next(iter(cells))].series_sd_ohm
    own = _inverse(_diagonal(min(shared, SERIES_OWN_SD_OHM), IDEALITY_OWN_SD))
    info = _inverse(_diagonal(shared, IDEALITY_SD))
    pull_r = pull_n = 0.0
    for one in told.values():
        # what the line says of its group: its own part integrated out
        inner = _inverse((one.rr + own[0], one.rn, one.nn + own[-1]))
        through = (own[0] * inner[0] * own[0], own[0] * inner[1] * own[-1], own[-1] * inner[-1] * own[-1])
        info = (info[0] + own[0] - through[0], info[1] - through[1], info[-1] + own[-1] - through[-1])
        pull_r += own[0] * (inner[0] * one.r + inner[1] * one.n)
        pull_n += own[-1] * (inner[1] * one.r + inner[-1] * one.n)
    cov = _inverse(info)
    ohm, ideality = cov[0] * pull_r + cov[1] * pull_n, cov[1] * pull_r + cov[-1] * pull_n
    return {
        contact: _line(cell, paths[contact], told[contact], own, (ohm, ideality), cov, vt, already[contact])
        for contact, cell in cells.items()
    }


def _told(cell: ReferenceCell, scatter: float, vt: float, already: tuple[float, float]) -> _Told:
    strength = 1 / (scatter * scatter + NOISE_PERSON_MV * NOISE_PERSON_MV)
    count = len(cell.values)
    rs, ns = [-step for step, _ in cell.steps], [-vt * ratio for _, ratio in cell.steps]
    mean_r, mean_n, mean = math.fsum(rs) / count, math.fsum(ns) / count, math.fsum(cell.values) / count
    rr = rn = nn = r = n = 0.0
    for x, y, value in zip(rs, ns, cell.values, strict=True):
        dx, dy, dv = x - mean_r, y - mean_n, value - mean
        rr, rn, nn = rr + strength * dx * dx, rn + strength * dx * dy, nn + strength * dy * dy
        r, n = r + strength * dx * dv, n + strength * dy * dv
    # the values ask for a change of the path they were carried through: with what it has already, of the first one
    ohm, ideality = already
    return _Told(rr, rn, nn, r + rr * ohm + rn * ideality, n + rn * ohm + nn * ideality, mean_r, mean_n)


def _line(
    cell: ReferenceCell,
    path: Path,
    told: _Told,
    own: Two,
    group: tuple[float, float],
    group_cov: Two,
    vt: float,
    already: tuple[float, float],
) -> Line:
    cov = _inverse((told.rr + own[0], told.rn, told.nn + own[-1]))
    right_r, right_n = told.r + own[0] * group[0], told.n + own[-1] * group[1]
    ohm, ideality = cov[0] * right_r + cov[1] * right_n, cov[1] * right_r + cov[-1] * right_n
    # no further than a junction can be: what is left over is the resistance's
    ideality = min(max(ideality, IDEALITY_LOWEST - path.ideality), IDEALITY_HIGHEST - path.ideality)
    ohm = max(ohm, -path.series_ohm)
    values = [
        value + (ohm - already[0]) * step + (ideality - already[-1]) * vt * ratio
        for value, (step, ratio) in zip(cell.values, cell.steps, strict=True)
    ]
    return Line(
        values,
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
