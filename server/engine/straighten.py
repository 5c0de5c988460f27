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

from server.engine.constants.meters import IDEALITY_HIGHEST, IDEALITY_LOWEST
from server.engine.constants.sessions import CHIP_N_SHARE, IDEALITY_SD, KELVIN, STRAIGHTEN_ROUNDS, VT_MV_PER_K
from server.engine.lines_drawn import Design, Drawn, GroupDrawn, LineDrawn, Pair, Two, design, posterior_of
from server.engine.meters import Conditions, carry, slopes
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import Path


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


class _Group(NamedTuple):
    """Lines of one chip and role as they were read: the mean of each board (mV), what the boards say with their common
    errors still in as scatter, and how they pull at r and n once these are out.
    """

    drawn: GroupDrawn
    levels: dict[str, float]
    told: Design
    pull: Pair


def straightened(
    drawn: Drawn, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, *, is_freed: bool
) -> Straight:
    """Every line as it is drawn (`lines_drawn`), read with its lead on ground on healthy boards; `to` is what they were
    carried to.

    `is_freed`: what meters and air did to each board was taken out of the cells; how sure one is of dR and dn is
    judged as if it were still in, since it was found from the same readings.
    With black on ground the load behind a clamp may be off by hundreds of ohms: there the readings are carried anew
    through what was found, and it is looked again. Each contact keeps what its group shares as its own doubt: a
    session finds it for red only.
    """
    found = _once(drawn, cells, to, is_freed=is_freed)
    lead = drawn.lead
    if lead == "red":
        return found
    for _ in range(STRAIGHTEN_ROUNDS):
        anew = {(contact, lead): _carried_anew(cells[contact, lead], line, to) for contact, line in found.lines.items()}
        found = _once(drawn, anew, to, is_freed=is_freed)
    lines = {
        contact: line._replace(doubt_mv=math.hypot(line.doubt_mv, line.shared_mv), shared_mv=0.0)
        for contact, line in found.lines.items()
    }
    return Straight(lines, found.ideality_sd)


def _once(
    drawn: Drawn, cells: dict[tuple[int, str], ReferenceCell], to: Conditions, *, is_freed: bool
) -> Straight:
    groups = [
        _group(one, {contact: cells[contact, drawn.lead] for contact in one.lines}, to, is_freed=is_freed)
        for one in drawn.groups
    ]
    common, common_sd = _common_ideality(groups, is_freed=is_freed)
    lines: dict[int, Line] = {}
    for group in groups:
        of_group = {contact: cells[contact, drawn.lead] for contact in group.drawn.lines}
        lines.update(_lines(group, of_group, common, VT_MV_PER_K * (KELVIN + to.air_c), is_freed=is_freed))
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


def _group(drawn: GroupDrawn, cells: dict[int, ReferenceCell], to: Conditions, *, is_freed: bool) -> _Group:
    away = dict.fromkeys(drawn.boards, 0.0)
    for cell in cells.values():
        middle = math.fsum(cell.values) / len(cell.values)
        for name, value in zip(cell.boards, cell.values, strict=True):
            away[name] += value - middle
    boards = drawn.boards
    levels = {name: away[name] / one.readings for name, one in boards.items()}
    common = [
        _common_variance(cells[one.contact].values[one.place], drawn.lines[one.contact].path, one.at, to)
        for one in boards.values()
    ]
    told = design(
        [(one.step_r, one.step_n) for one in boards.values()],
        [1 / (variance + more) for variance, more in zip(drawn.variances, common, strict=True)],
    )
    return _Group(drawn, levels, told, (drawn.freed if is_freed else told).pull_of(list(levels.values())))


def _common_variance(value: float, path: Path, at: Conditions, to: Conditions) -> float:
    """What meter and air do to all of a board's readings, at one of them (mV squared)."""
    per_log, per_k = slopes(value, path, to.current_ma, to.air_c)
    common = math.hypot(per_log * at.current_sd, per_k * at.air_sd_k)
    return common * common


def _common_ideality(groups: list[_Group], *, is_freed: bool) -> tuple[float, float]:
    """(mean, deviation) of what the idealities of all groups share, each group's own parts integrated out."""
    each = 1 / (CHIP_N_SHARE * IDEALITY_SD * CHIP_N_SHARE * IDEALITY_SD)
    freed_info = told_info = 1 / (IDEALITY_SD * IDEALITY_SD)
    pull = 0.0
    for group in groups:
        told_info += each - each * each * posterior_of(group.told, group.drawn.prior)[-1]
        inner = posterior_of(group.drawn.freed if is_freed else group.told, group.drawn.prior)
        freed_info += each - each * each * inner[-1]
        pull += each * (inner[1] * group.pull[0] + inner[-1] * group.pull[1])
    return pull / freed_info, math.sqrt(1 / told_info)


def _lines(
    group: _Group, cells: dict[int, ReferenceCell], common: float, vt: float, *, is_freed: bool
) -> dict[int, Line]:
    drawn = group.drawn
    cov = posterior_of(group.told, drawn.prior)
    inner = posterior_of(drawn.freed if is_freed else group.told, drawn.prior)
    right_r, right_n = group.pull[0], group.pull[1] + drawn.prior[-1] * common
    middle = inner[0] * right_r + inner[1] * right_n, inner[1] * right_r + inner[-1] * right_n
    return {
        contact: _line(cells[contact], line, group.levels, middle, cov, vt) for contact, line in drawn.lines.items()
    }


def _line(
    cell: ReferenceCell, drawn: LineDrawn, levels: dict[str, float], group: Pair, group_cov: Two, vt: float
) -> Line:
    """A line by its group's (dR, dn) and by how it differs from the group on each board."""
    path, cov = drawn.path, drawn.cov
    r, n = drawn.design.pull_of([value - levels[name] for name, value in zip(cell.boards, cell.values, strict=True)])
    ohm = group[0] + cov[0] * r + cov[1] * n
    ideality = group[1] + cov[1] * r + cov[-1] * n
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
        drawn.doubt_mv,
        drawn.design.doubt(group_cov),
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
