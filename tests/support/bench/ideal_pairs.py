"""Two or more contacts at once: joined ones, and a chip of another maker whose lines all lie elsewhere."""

import math
from collections.abc import Collection

import numpy as np

from tests.support.bench import tables as t
from tests.support.bench.ideal import Ideal, Judged
from tests.support.bench.ideal_fit import Array, told_of
from tests.support.bench.ideal_physics import reading_mv
from tests.support.bench.jobs import OnBench, Shown

HALVINGS = 40
JOINT_OHM = math.sqrt(t.BRIDGE_OHM[0] * t.BRIDGE_OHM[1])
JOINT_SD_OHM = 0.8
IMPOSSIBLE = math.log(1e-9)
GRID_SD, GRID = 3.5, 29
ODD_DENSITY = t.UNRELATED / 300


def bridge_log(
    ideal: Ideal, one: OnBench, judged: Judged, shown: Shown, a: int, b: int, unread: Collection[int] = ()
) -> float:  # fmt: skip
    """Log density of what two joined contacts show; of what is `unread`, nothing was shown."""
    lines = ideal.job.plan.lines
    if not lines[a].conducts or (lines[b].conducts and lines[a].role == "ground"):
        a, b = b, a
    if a in unread and (b in unread or lines[b].role == "ground"):
        return 0.0
    first, second = shown[a], shown[b]
    ma = told_of(one.session, sheet=ideal.sheet).current_ma
    noise = _noise(ma)
    if first is None and a not in unread:
        return IMPOSSIBLE
    if lines[b].role == "ground":
        at = ma * (t.PROBE_OHM + t.GROUND_OHM + JOINT_OHM)
        return _normal((first or 0) - at, noise + (ma * JOINT_SD_OHM) ** 2)
    if second is None and b not in unread:
        return IMPOSSIBLE
    if a not in judged.mean:
        return IMPOSSIBLE
    if not lines[b].conducts:
        at = judged.mean[a] + ma * t.PROBE_OHM
        joint = (ma * JOINT_SD_OHM) ** 2
        if first is None:
            return _normal((second or 0) - at - ma * JOINT_OHM, judged.var[a] + noise + joint)
        alone = _normal(first - at, judged.var[a] + noise)
        return alone if second is None else alone + _normal(second - first - ma * JOINT_OHM, 2 * noise + joint)
    if b not in judged.mean:
        return IMPOSSIBLE
    joined, by_a, by_b = _joined(ideal, one, judged, a, b)
    common = by_a**2 * judged.var[a] + by_b**2 * judged.var[b] + (0.02 * t.VT_MV_PER_K * 298) ** 2
    own = noise + (ma * JOINT_SD_OHM / 2) ** 2
    touched = joined + ma * (t.PROBE_OHM + JOINT_OHM / 4)
    if first is None or second is None:
        return _normal((first or second or 0) - touched, common + own)
    off = np.array([first, second]) - touched
    cov = np.array([[common + own, common], [common, common + own]])
    return float(-0.5 * off @ np.linalg.solve(cov, off) - 0.5 * math.log(np.linalg.det(cov)) - math.log(2 * math.pi))


def _joined(ideal: Ideal, one: OnBench, judged: Judged, a: int, b: int) -> tuple[float, float, float]:
    """What both read together, and how that moves with either's own value."""
    middle = together(ideal, one, a, b, judged.mean[a], judged.mean[b])
    by_a = (together(ideal, one, a, b, judged.mean[a] + 4, judged.mean[b]) - middle) / 4
    by_b = (together(ideal, one, a, b, judged.mean[a], judged.mean[b] + 4) - middle) / 4
    return middle, by_a, by_b


def together(ideal: Ideal, one: OnBench, a: int, b: int, a_mv: float, b_mv: float) -> float:
    """Two junctions in parallel that would read `a_mv` and `b_mv` alone: halving on the first one's share."""
    told = told_of(one.session, sheet=ideal.sheet)
    layout, size = ideal.layout, len(ideal.layout.nodes)

    def side(contact: int, alone: float, share: float) -> float:
        node = layout.node_of[contact]
        v, n = ideal.belief.mean[node], ideal.belief.mean[size + layout.chip_of[node]]
        ma, celsius, series = told.current_ma, told.celsius, layout.series[node]
        v = v + alone - float(reading_mv(v, n, series, ma, celsius))
        return float(reading_mv(v, n, series, ma * share, celsius))

    low, high = -30.0, 30.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        share = 1 / (1 + math.exp(-middle))
        low, high = (low, middle) if side(a, a_mv, share) > side(b, b_mv, 1 - share) else (middle, high)
    return side(a, a_mv, 1 / (1 + math.exp(-low)))


def chip_moved_log(ideal: Ideal, one: OnBench, apart: Judged, shown: Shown, lines: list[int]) -> float:
    """How much likelier what a chip's lines show is with the chip of another maker than with its own.

    `apart`: each line's value as the rest of the board tells it. By role: what the lines have in common is a shift,
    summed over a grid, with its own spread alone or with the other maker's on top.
    """
    layout = ideal.layout
    ma = told_of(one.session, sheet=ideal.sheet).current_ma
    total = 0.0
    for role in sorted({ideal.job.plan.lines[i].role for i in lines}):
        members = [i for i in lines if ideal.job.plan.lines[i].role == role]
        off = np.array([float(shown[i] or 0) - apart.mean[i] - ma * t.PROBE_OHM for i in members])
        own = np.array([layout.local_sd[layout.node_of[i]] ** 2 + _noise(ma) + 2.0 for i in members])
        common = max(4.0, float(np.mean([apart.var[i] for i in members])) - float(own[0]) + _noise(ma))
        moved = common + t.REVISION_SD_MV**2
        total += _shifted(off, own, moved) - _shifted(off, own, common)
    return total


def _shifted(off: Array, own: Array, common: float) -> float:
    sd = math.sqrt(common)
    shifts = np.linspace(-GRID_SD * sd, GRID_SD * sd, max(GRID, int(GRID_SD * sd)))
    log = -0.5 * shifts**2 / common
    each = (off[:, None] - shifts[None, :]) ** 2 / own[:, None]
    density = (1 - t.UNRELATED) * np.exp(-0.5 * each) / np.sqrt(2 * math.pi * own[:, None]) + ODD_DENSITY
    log_like = np.log(density).sum(0)
    weights = np.exp(log - log.max())
    top = log_like.max()
    return float(top + math.log((weights * np.exp(log_like - top)).sum() / weights.sum()))


def _noise(ma: float) -> float:
    return t.NOISE_MV**2 + 1 / 12 + (t.PROBE_SD_OHM * ma) ** 2


def _normal(off: float, var: float) -> float:
    return -0.5 * off * off / var - 0.5 * math.log(2 * math.pi * var)
