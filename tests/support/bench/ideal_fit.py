"""The near-ideal judge's joint model: every healthy reading of one kind of board as one Gaussian field.

Unknown: each node's junction on this kind (rails are one node), each chip's ideality; of each board its chips' leans
and each node's own scatter; of each session current, temperature, gain and offset. Linear about the best point so
far, with the true spreads and their full covariance. What a display shows of a value is a mixture (touches that
fail, faults): expectation propagation by matched moments. Near-ideal: the linearisation is all that is left out.
"""

from dataclasses import dataclass

import numpy as np

from tests.support.bench import tables as t
from tests.support.bench.ideal_physics import Array, reading_mv
from tests.support.bench.sockets import SocketPlan
from tests.support.bench.truth import Session

SWEEPS = 4
ROUNDS = 2
UNKNOWN_LOG_SD, UNKNOWN_MIDDLE_MA = 0.66, 0.63
UNKNOWN_C, UNKNOWN_C_SD = 20.0, 14.4


@dataclass
class Belief:
    """Mean and covariance of the kind: nodes' junctions, then chips' idealities."""

    mean: Array
    cov: Array


class Layout:
    """Which contact is which node, and the prior of a kind."""

    def __init__(self, plan: SocketPlan) -> None:
        self.plan = plan
        self.contacts = [i for i, line in enumerate(plan.lines) if line.conducts]
        keys = [plan.lines[i].net if plan.lines[i].is_rail else plan.lines[i].number for i in self.contacts]
        self.nodes = list(dict.fromkeys(keys))
        self.node_of = {i: self.nodes.index(key) for i, key in zip(self.contacts, keys, strict=True)}
        self.lines = [plan.lines[self.contacts[keys.index(node)]] for node in self.nodes]
        self.chips = sorted({line.chip for line in self.lines})
        self.chip_of = np.array([self.chips.index(line.chip) for line in self.lines])
        healthy = [t.HEALTHY[line.role] for line in self.lines]
        self.series = np.array([t.BULK_OHM + one.series_ohm for one in healthy])
        self.die_sd = np.array([one.die_sd for one in healthy])
        self.local_sd = np.array([one.local_sd for one in healthy])
        self.prior = self._prior()

    def _prior(self) -> Belief:
        size, chips = len(self.nodes), len(self.chips)
        mean = np.array([*(t.HEALTHY[line.role].drop_mv for line in self.lines), *[t.IDEALITY] * chips])
        cov = np.zeros((size + chips, size + chips))
        for a, one in enumerate(self.lines):
            for b, other in enumerate(self.lines):
                spread = t.HEALTHY[one.role]
                if one.chip == other.chip and one.role == other.role:
                    cov[a, b] += spread.kind_sd**2
                if a == b or (one.pair and one.pair == other.pair):
                    cov[a, b] += spread.line_sd**2
                if a == b:
                    cov[a, b] += spread.half_sd**2
        for chip in range(chips):
            cov[size + chip, size + chip] = t.IDEALITY_SD**2
        return Belief(mean, cov)


@dataclass
class Rows:
    """Readings of several boards: which board, which node, what was shown (mV; OL rows are left out)."""

    board: Array
    node: Array
    shown: Array


@dataclass
class Components:
    """For each row a mixture: shown = at + slope * value + N(0, var), with log weights (rows x components)."""

    log_weight: Array
    at: Array
    slope: Array
    var: Array


@dataclass
class Fitted:
    """Where it ended: the belief about the kind, each row's value judged without that row, and how well all fits."""

    belief: Belief
    mean: Array
    var: Array
    told: float
    values: Array
    point: Array


@dataclass
class Told:
    """What a judge knows of a session."""

    current_ma: float
    celsius: float
    log_sd: float
    kelvin_sd: float


def told_of(session: Session, *, sheet: bool) -> Told:
    if not sheet:
        return Told(UNKNOWN_MIDDLE_MA, UNKNOWN_C, UNKNOWN_LOG_SD, UNKNOWN_C_SD)
    return Told(session.told_current_ma, session.told_air_c, t.SHEET_CURRENT_SD, t.AIR_SD_K)


class Field:
    """The linear field of some rows about a point: prior mean and covariance of their values."""

    def __init__(self, layout: Layout, belief: Belief, point: Array, rows: Rows, sessions: list[Told]) -> None:
        self.point = point
        size = len(layout.nodes)
        board, node = rows.board.astype(int), rows.node.astype(int)
        ma = np.array([one.current_ma for one in sessions])[board]
        celsius = np.array([one.celsius for one in sessions])[board]
        chip = layout.chip_of[node]
        v, n, series = point[node], point[size + chip], layout.series[node]
        value = reading_mv(v, n, series, ma, celsius)
        by_v = (reading_mv(v + 2, n, series, ma, celsius) - value) / 2
        by_n = (reading_mv(v, n + 0.02, series, ma, celsius) - value) / 0.02
        by_log = (reading_mv(v, n, series, ma * 1.01, celsius) - value) / np.log(1.01)
        by_k = reading_mv(v, n, series, ma, celsius + 1) - value
        count = len(node)
        self.by_kind = np.zeros((count, size + len(layout.chips)))
        self.by_kind[np.arange(count), node] = by_v
        self.by_kind[np.arange(count), size + chip] = by_n
        log_sd = np.array([one.log_sd for one in sessions])[board]
        kelvin_sd = np.array([one.kelvin_sd for one in sessions])[board]
        own = np.stack([by_log * log_sd, by_k * kelvin_sd, value * t.GAIN_SD, np.full(count, t.OFFSET_SD_MV)], 1)
        lean = by_v * layout.die_sd[node]
        scatter = by_v * layout.local_sd[node]
        same_board = board[:, None] == board[None, :]
        within = own @ own.T + np.outer(lean, lean) * (chip[:, None] == chip[None, :])
        within += np.outer(scatter, scatter) * (node[:, None] == node[None, :])
        self.mean = value + self.by_kind @ (belief.mean - point)
        self.cov = self.by_kind @ belief.cov @ self.by_kind.T + np.where(same_board, within, 0.0)


def fit(
    layout: Layout,
    belief: Belief,
    rows: Rows,
    sessions: list[Told],
    components: "ComponentsOf",
    start: "ComponentsOf | None" = None,
) -> Fitted:
    """Expectation propagation over the rows; the point of linearisation follows. `start` is believed at first."""
    count = len(rows.shown)
    precision, shift = np.zeros(count), np.zeros(count)
    point, after = belief.mean.copy(), belief
    mean, var, told = np.zeros(count), np.ones(count), 0.0
    field = Field(layout, belief, point, rows, sessions)
    for turn in range(ROUNDS):
        field = field if turn == 0 else Field(layout, belief, point, rows, sessions)
        first = start if start is not None and turn == 0 else components
        mixture = first(field.mean, point)
        for _ in range(SWEEPS):
            inverse = np.linalg.inv(np.eye(count) + field.cov * precision[None, :])
            at = inverse @ (field.mean + field.cov @ shift)
            spread = np.maximum(np.einsum("ij,ji->i", inverse, field.cov), 1e-6)
            mean, var = _without_own(at, spread, precision, shift)
            precision, shift = _sites(rows.shown, mean, var, mixture, precision, shift)
        inverse = np.linalg.inv(np.eye(count) + field.cov * precision[None, :])
        at = inverse @ (field.mean + field.cov @ shift)
        mean, var = _without_own(at, np.maximum(np.einsum("ij,ji->i", inverse, field.cov), 1e-6), precision, shift)
        told = float(posterior_weights(rows.shown, mean, var, mixture)[1].sum())
        across = belief.cov @ field.by_kind.T
        weight = precision[:, None] * inverse
        after = Belief(belief.mean + across @ (shift - precision * at), belief.cov - across @ weight @ across.T)
        point = after.mean.copy()
    return Fitted(after, mean, var, told, field.mean, field.point)


class ComponentsOf:
    """Makes the mixtures of the rows about a point: their healthy values and the kind's parameters."""

    def __call__(self, values: Array, point: Array) -> Components:
        raise NotImplementedError


def _without_own(at: Array, spread: Array, precision: Array, shift: Array) -> tuple[Array, Array]:
    left = np.maximum(1 / spread - precision, 1e-6)
    return (at / spread - shift) / left, 1 / left


def posterior_weights(shown: Array, mean: Array, var: Array, mixture: Components) -> tuple[Array, Array]:
    """Log density of what was shown under each component (weights in), and the total."""
    predicted = mixture.at + mixture.slope * mean[:, None]
    spread = mixture.slope**2 * var[:, None] + mixture.var
    log = mixture.log_weight - 0.5 * (shown[:, None] - predicted) ** 2 / spread - 0.5 * np.log(2 * np.pi * spread)
    top = log.max(1, keepdims=True)
    return log, (top + np.log(np.exp(log - top).sum(1, keepdims=True)))[:, 0]


def _sites(
    shown: Array, mean: Array, var: Array, mixture: Components, precision: Array, shift: Array
) -> tuple[Array, Array]:
    """New sites from matched moments, half way from the old ones."""
    log, whole = posterior_weights(shown, mean, var, mixture)
    weight = np.exp(log - whole[:, None])
    spread = mixture.slope**2 * var[:, None] + mixture.var
    gain = mixture.slope * var[:, None] / spread
    each = mean[:, None] + gain * (shown[:, None] - mixture.at - mixture.slope * mean[:, None])
    left = var[:, None] - gain * mixture.slope * var[:, None]
    middle = (weight * each).sum(1)
    total = np.maximum((weight * (left + (each - middle[:, None]) ** 2)).sum(1), 1e-6)
    new_precision = np.clip(1 / total - 1 / var, 1e-9, 1e4)
    new_shift = np.where(new_precision > 1e-9, middle / total - mean / var, 0.0)
    first = bool((precision == 0).all())
    half = 1.0 if first else 0.7
    return half * new_precision + (1 - half) * precision, half * new_shift + (1 - half) * shift
