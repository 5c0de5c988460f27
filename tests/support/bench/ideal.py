"""The near-ideal judge: true tables, the joint field, and exact odds of faults given each contact without itself."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tests.support.bench import tables as t
from tests.support.bench.ideal_fit import (
    Array,
    Belief,
    Components,
    ComponentsOf,
    Fitted,
    Layout,
    Rows,
    Told,
    fit,
    posterior_weights,
    told_of,
)
from tests.support.bench.ideal_physics import leaky_mv, reading_mv
from tests.support.bench.jobs import Job, OnBench, Shown
from tests.support.bench.kept import Kept

LEAK_BINS, SHORT_BINS, RAISED_BINS, HIGH_BINS = 24, 6, 8, 6
STRAY_SD_MV = 120.0
TINY = 1e-300
STATES = ("healthy", "short", "leak", "raised", "open")


def _steps(limits: tuple[float, float], bins: int) -> tuple[Array, Array]:
    """Bins even in the logarithm: edges and middles."""
    edges = np.exp(np.linspace(math.log(limits[0]), math.log(limits[1]), bins + 1))
    return edges, np.sqrt(edges[:-1] * edges[1:])


def _quantiles_of_exponential(bins: int) -> Array:
    return -np.log(1 - (np.arange(bins) + 0.5) / bins)


class Healthy(ComponentsOf):
    """Good touches, touches with a bad contact, strays."""

    def __init__(self, layout: Layout, rows: Rows, sessions: list[Told]) -> None:
        self.ma = np.array([one.current_ma for one in sessions])[rows.board.astype(int)]
        self.layout, self.rows = layout, rows
        self.noise = t.NOISE_MV**2 + 1 / 12 + (t.PROBE_SD_OHM * self.ma) ** 2

    def __call__(self, values: Array, point: Array) -> Components:
        return self.healthy()

    def healthy(self) -> Components:
        count = len(self.ma)
        extra = t.FAILS_HIGH_OHM * _quantiles_of_exponential(HIGH_BINS)
        at = np.concatenate(
            [np.outer(self.ma, t.PROBE_OHM + np.array([0.0, *extra])), np.full((count, 1), 400.0)], axis=1
        )
        slope = np.concatenate([np.ones((count, 1 + HIGH_BINS)), np.zeros((count, 1))], axis=1)
        var = np.repeat(self.noise[:, None], HIGH_BINS + 2, axis=1)
        var[:, 1:-1] += (np.outer(self.ma, np.gradient(extra)) ** 2) / 12
        var[:, -1] += STRAY_SD_MV**2
        good = 1 - t.FAILS_HIGH - t.FAILS_NEIGHBOUR - t.FAILS_OPEN
        shares = [good, *[t.FAILS_HIGH / HIGH_BINS] * HIGH_BINS, t.FAILS_NEIGHBOUR]
        return Components(np.repeat(np.log([shares]), count, axis=0), at, slope, var)


class Spoilt(Healthy):
    """The same, and each fault by its share in the prior (rows x states)."""

    def __init__(self, layout: Layout, rows: Rows, sessions: list[Told], celsius: float, prior: Array) -> None:
        super().__init__(layout, rows, sessions)
        self.celsius, self.prior = celsius, prior
        self.muted = np.zeros(len(self.ma), bool)
        self.parts: dict[str, Components] = {}

    def __call__(self, values: Array, point: Array) -> Components:
        self.parts = {"healthy": self.healthy(), **self._faults(values, point)}
        log_prior = np.log(np.maximum(self.prior, TINY))
        told = [
            Components(part.log_weight + log_prior[:, [STATES.index(state)]], part.at, part.slope, part.var)
            for state, part in self.parts.items()
        ]
        whole = Components(*(np.concatenate([getattr(one, name) for one in told], axis=1) for name in _FIELDS))
        whole.slope[self.muted], whole.at[self.muted], whole.var[self.muted] = 0.0, 400.0, 1e6
        return whole

    def _faults(self, values: Array, point: Array) -> dict[str, Components]:
        count, size = len(self.ma), len(self.layout.nodes)
        node = self.rows.node.astype(int)
        n, series = point[size + self.layout.chip_of[node]], self.layout.series[node]
        ma, probe = self.ma[:, None], t.PROBE_OHM * self.ma[:, None]
        noise = self.noise[:, None]
        edges, middles = _steps(t.SHORT_OHM, SHORT_BINS)
        shorts = (ma * middles + probe, np.zeros((count, SHORT_BINS)), noise + (ma * np.diff(edges)) ** 2 / 12)
        edges, middles = _steps(t.RAISED_MV, RAISED_BINS)
        raised = (middles + probe, np.ones((count, RAISED_BINS)), noise + np.diff(edges) ** 2 / 12)
        # the junction that would read `values` here: the value found so far moves with the others' readings
        v = point[node] + (values - reading_mv(point[node], n, series, self.ma, self.celsius))
        edges, middles = _steps(t.LEAK_OHM, LEAK_BINS)

        def leaky(shift: float, ohm: Array) -> Array:
            return leaky_mv((v + shift)[:, None], n[:, None], series[:, None], ma, self.celsius, ohm[None, :])

        at, aside, at_edges = leaky(0, middles), leaky(8, middles), leaky(0, edges)
        moved = reading_mv(v + 8, n, series, self.ma, self.celsius) - reading_mv(v, n, series, self.ma, self.celsius)
        slope = (aside - at) / moved[:, None]
        here = reading_mv(v, n, series, self.ma, self.celsius)[:, None]
        leaks = (at - slope * here + probe, slope, noise + np.diff(at_edges, axis=1) ** 2 / 12)
        return {
            name: Components(np.full((count, one[0].shape[1]), -math.log(one[0].shape[1])), *map(np.asarray, one))
            for name, one in (("short", shorts), ("leak", leaks), ("raised", raised))
        }


_FIELDS = ("log_weight", "at", "slope", "var")


@dataclass
class Judged:
    """Of each contact that conducts: log densities of each state (OL included) for both touches, and its value
    without itself."""

    log_states: dict[int, Array]
    log_again: dict[int, Array]
    mean: dict[int, float]
    var: dict[int, float]


class Ideal:
    """One job's kind as its references tell it; judges boards against that. What it judged once is kept on disk."""

    def __init__(self, job: Job, references: int, *, sheet: bool = True) -> None:
        self.job, self.references, self.sheet = job, references, sheet
        self.layout = Layout(job.plan)
        told = "told" if sheet else "untold"
        self.kept = Kept(f"{job.seed}-{job.weather}-{job.index}-{references}-{told}")

    @cached_property
    def belief(self) -> Belief:
        """The kind, after its references."""
        if not self.references:
            return self.layout.prior
        boards = self.job.references[: self.references]
        sessions = [told_of(one.session, sheet=self.sheet) for one in boards]
        rows = _rows(self.layout, [one.first for one in boards])
        return fit(self.layout, self.layout.prior, rows, sessions, Healthy(self.layout, rows, sessions)).belief

    def judge(
        self, one: OnBench, prior: dict[int, Array], shown: Shown | None = None, muted: Sequence[int] = ()
    ) -> Judged:
        """`prior`: by contact, shares of `STATES` before any reading. What `muted` contacts read tells nothing."""
        shares = {contact: table.tolist() for contact, table in sorted(prior.items())}
        asked = (one.session, one.first, one.second, shares, shown, tuple(muted))
        return self.kept.answer("judged", asked, lambda: self._judge(one, prior, shown, muted))

    def _judge(self, one: OnBench, prior: dict[int, Array], shown: Shown | None, muted: Sequence[int]) -> Judged:
        told = told_of(one.session, sheet=self.sheet)
        first = one.first if shown is None else shown
        rows = _rows(self.layout, [first])
        contacts = [i for i in self.layout.contacts if first[i] is not None]
        table = np.array([prior[i] for i in contacts]).reshape(len(contacts), len(STATES))
        spoilt = Spoilt(self.layout, rows, [told], told.celsius, table)
        spoilt.muted = np.array([contact in muted for contact in contacts], bool)
        # most contacts low, or one bad touch high: two places to end at, so it starts from two and keeps the better
        starts = (None, Healthy(self.layout, rows, [told]))
        fitted = max(
            (fit(self.layout, self.belief, rows, [told], spoilt, start) for start in starts), key=lambda one: one.told
        )
        spoilt(fitted.values, fitted.point)
        again = np.array([math.nan if one.second[i] is None else float(one.second[i] or 0) for i in contacts])
        log_states = self._states(fitted, spoilt, rows.shown)
        log_again = self._states(fitted, spoilt, np.where(np.isnan(again), rows.shown, again))
        for place in np.flatnonzero(np.isnan(again)):
            log_again[place] = OVER_RANGE
        judged = Judged({}, {}, {}, {})
        for place, contact in enumerate(contacts):
            judged.log_states[contact], judged.log_again[contact] = log_states[place], log_again[place]
            judged.mean[contact], judged.var[contact] = float(fitted.mean[place]), float(fitted.var[place])
        for contact in self.layout.contacts:
            if first[contact] is None:
                judged.log_states[contact] = OVER_RANGE
                judged.log_again[contact] = OVER_RANGE
        if shown is None:
            self._judge_late(one, prior, judged)
        return judged

    def _judge_late(self, one: OnBench, prior: dict[int, Array], judged: Judged) -> None:
        """Contacts that showed OL at first and then a number: judged by that number."""
        late = [i for i in self.layout.contacts if one.first[i] is None and one.second[i] is not None]
        if late:
            shown = [one.second[i] if i in late else mv for i, mv in enumerate(one.first)]
            again = self.judge(one, prior, shown)
            for contact in late:
                judged.log_again[contact] = again.log_states[contact]

    def _states(self, fitted: Fitted, spoilt: Spoilt, shown: Array) -> Array:
        told = np.full((len(shown), len(STATES)), math.log(TINY))
        for state, part in spoilt.parts.items():
            told[:, STATES.index(state)] = posterior_weights(shown, fitted.mean, fitted.var, part)[1]
        told[:, STATES.index("open")] = math.log(t.FAILS_NEIGHBOUR / 1000)
        return told


OVER_RANGE = np.log(np.array([t.FAILS_OPEN, t.FAILS_OPEN, t.FAILS_OPEN, t.FAILS_OPEN, 1.0]))


def _rows(layout: Layout, shown: list[Shown]) -> Rows:
    board, node, value = [], [], []
    for n, one in enumerate(shown):
        for contact in layout.contacts:
            mv = one[contact]
            if mv is not None:
                board.append(n)
                node.append(layout.node_of[contact])
                value.append(mv)
    return Rows(np.array(board, float), np.array(node, float), np.array(value, float))


def contact_priors(job: Job) -> dict[int, Array]:
    """The contact jobs' own shares of faults."""
    told = {}
    for contact, line in enumerate(job.plan.lines):
        if line.conducts:
            shares = {"open": 1.0} if line.is_rail else t.FAULT_SHARES
            told[contact] = np.array([1 - t.FAULTY, *(t.FAULTY * shares.get(state, 0.0) for state in STATES[1:])])
    return told


def odd_odds(prior: Array, *logs: Array) -> float:
    """The chance that a contact is not healthy."""
    log = np.log(np.maximum(prior, TINY)) + sum(logs)
    weight = np.exp(log - log.max())
    return float(1 - weight[0] / weight.sum())
