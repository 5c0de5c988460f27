"""The near-ideal judge's odds of the world's stories: true shares, each contact's states given the rest of the board.

A rail is judged by the first of its contacts that shows a number. The contacts' values without themselves are taken
as independent given the story; that, and the linear field, is what is left out.
"""

import math
from collections.abc import Sequence

import numpy as np

from tests.support.bench import tables as t
from tests.support.bench.ideal import STATES, TINY, Ideal, Judged
from tests.support.bench.ideal_fit import Array
from tests.support.bench.ideal_pairs import bridge_log, chip_moved_log
from tests.support.bench.jobs import Job, OnBench, Shown
from tests.support.bench.story_world import Told, stories

NUMBER_BY_MISTAKE = t.FAILS_NEIGHBOUR / 300


def mirrored(job: Job, shown: Shown) -> Shown:
    """What stands under each number when the rows were counted from their other end."""
    told = list(shown)
    for row in job.plan.rows:
        for contact, other in zip(row, reversed(row), strict=True):
            told[contact] = shown[other]
    return told


def class_odds(ideal: Ideal, one: OnBench, others: Sequence[Told] = ()) -> list[dict[str, float]]:
    """The probability of every class: on the world's own stories, and on `others` where some are given."""
    job = ideal.job
    wrong_end = one.story is not None and one.story.kind == "wrong_end"
    written = mirrored(job, one.first) if wrong_end else one.first
    drawn = _Board(ideal, one, written)
    other = _Board(ideal, one, mirrored(job, written))
    tables = (stories(job.plan.name), others) if others else (stories(job.plan.name),)
    return [_odds(drawn, other, told) for told in tables]


def _odds(drawn: "_Board", other: "_Board", told: Sequence[Told]) -> dict[str, float]:
    scores = [
        math.log(story.share) + (other.healthy_log() if story.kind == "wrong_end" else drawn.story_log(story))
        for story in told
    ]
    top = max(scores)
    weights = [math.exp(score - top) for score in scores]
    whole = math.fsum(weights)
    odds: dict[str, float] = {}
    for story, weight in zip(told, weights, strict=True):
        odds[story.merged] = odds.get(story.merged, 0.0) + weight / whole
    return odds


class _Board:
    """One board as written down, each contact's log densities by state."""

    def __init__(self, ideal: Ideal, one: OnBench, shown: Shown) -> None:
        self.ideal, self.one, self.shown = ideal, one, shown
        self.plan = ideal.job.plan
        self.nodes: dict[str, int] = {}
        for contact, line in enumerate(self.plan.lines):
            if line.conducts and shown[contact] is not None:
                self.nodes.setdefault(line.net if line.is_rail else line.number, contact)
        kept = [mv if contact in self.nodes.values() else None for contact, mv in enumerate(shown)]
        self.priors = state_priors(ideal.job)
        self.judged: Judged = ideal.judge(one, self.priors, kept)
        self.kept = kept
        self.joined: dict[tuple[int, int], float] = {}
        self.moved: dict[str, float] = {}
        self.logs = [self._log_states(contact) for contact in range(len(self.plan.lines))]
        self.base = [self._mixed(contact, _UNRELATED) for contact in range(len(self.plan.lines))]

    def healthy_log(self) -> float:
        return math.fsum(self.base)

    def story_log(self, story: Told) -> float:
        """Log density of everything shown if the story is true."""
        if story.bridge is not None:
            a, b = (self._leader(contact) for contact in story.bridge)
            if (a, b) not in self.joined:
                self.joined[a, b] = bridge_log(self.ideal, self.one, self.judged, self.shown, a, b)
            return self.healthy_log() - self.base[a] - self.base[b] + self.joined[a, b]
        if story.kind == "revision":
            if story.chip not in self.moved:
                self.moved[story.chip] = self._moved_log(story.chip)
            return self.healthy_log() + self.moved[story.chip]
        log = self.healthy_log()
        for contact, states in story.states.items():
            judged = contact if story.kind == "torn" else self._leader(contact)
            log += self._mixed(judged, _vector(states)) - self.base[judged]
        return log

    def _moved_log(self, chip: str) -> float:
        lines = [i for i, line in enumerate(self.plan.lines) if line.conducts and line.chip == chip]
        lines = [i for i in lines if self.kept[i] is not None]
        apart = self.ideal.judge(self.one, self.priors, self.kept, muted=lines)
        return chip_moved_log(self.ideal, self.one, apart, self.shown, lines)

    def _leader(self, contact: int) -> int:
        """The contact its rail is judged by."""
        line = self.plan.lines[contact]
        return self.nodes.get(line.net, contact) if line.is_rail else contact

    def _mixed(self, contact: int, shares: Array) -> float:
        if self.plan.lines[contact].role == "ground":
            return 0.0
        healthy = np.concatenate([[shares[0] * _UNRELATED[0]], shares[1:] + shares[0] * _UNRELATED[1:]])
        log = self.logs[contact] + np.log(np.maximum(healthy, TINY))
        return float(log.max() + math.log(np.exp(log - log.max()).sum()))

    def _log_states(self, contact: int) -> Array:
        line, mv = self.plan.lines[contact], self.shown[contact]
        if not line.conducts:
            return self._where_nothing_conducts(mv)
        if mv is not None and contact not in self.nodes.values():
            # another contact of a rail that was judged already: only an open of its own would show
            return np.log(np.array([1.0, 1.0, 1.0, 1.0, 1e-6]))
        return self.judged.log_states[contact]

    def _where_nothing_conducts(self, mv: int | None) -> Array:
        """OL is healthy; a short or a leak reads as a resistor."""
        ma, limit = self.one.session.told_current_ma, self.one.session.open_circuit_mv
        told = []
        for state in STATES:
            bounds = {"short": t.SHORT_OHM, "leak": t.LEAK_OHM}.get(state)
            if bounds is None:
                told.append(1.0 if mv is None else NUMBER_BY_MISTAKE)
                continue
            low, high = bounds
            whole = math.log(high / low)
            if mv is None:
                told.append(max(1e-6, math.log(high * ma / limit) / whole if high * ma > limit else 0.0))
            else:
                ohm = max(mv, 0.5) / ma - t.PROBE_OHM
                inside = low * 0.98 < ohm < high * 1.02
                told.append(1 / (max(mv, 1.0) * whole) if inside else NUMBER_BY_MISTAKE * 1e-3)
        return np.log(np.array(told))


def _vector(states: dict[str, float]) -> Array:
    return np.array([states.get(state, 0.0) for state in STATES])


_UNRELATED = np.array([1 - t.UNRELATED, *(t.UNRELATED * t.UNRELATED_SHARES.get(state, 0.0) for state in STATES[1:])])


def state_priors(job: Job) -> dict[int, Array]:
    """Each contact's states with all stories mixed: what the joint field starts from."""
    told = {i: np.zeros(len(STATES)) for i, line in enumerate(job.plan.lines) if line.conducts}
    for story in stories(job.plan.name):
        touched = dict(story.states)
        for contact in story.bridge or ():
            touched[contact] = {"healthy": 0.3, "short": 0.1, "leak": 0.6}
        for contact, one in told.items():
            line = job.plan.lines[contact]
            leader = next(
                (i for i in touched if job.plan.lines[i].net == line.net), contact
            ) if line.is_rail and story.kind != "torn" else contact  # fmt: skip
            states = touched.get(leader)
            moved = story.kind == "revision" and story.chip == line.chip
            if moved:
                one += story.share * _vector({"healthy": 0.2, "leak": 0.4, "raised": 0.4})
            else:
                one += story.share * (_vector(states) if states else _UNRELATED)
    return told
