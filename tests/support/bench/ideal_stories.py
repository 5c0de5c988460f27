"""The near-ideal judge's odds of the world's stories: true shares, each contact's states given the rest of the board.

A rail is judged by the first of its contacts that shows a number. The contacts' values without themselves are taken
as independent given the story; that, and the linear field, is what is left out. Contacts not read yet tell nothing.
"""

import math
from collections.abc import Callable, Collection, Sequence

import numpy as np

from tests.support.bench import tables as t
from tests.support.bench.ideal import STATES, TINY, Ideal, Judged
from tests.support.bench.ideal_fit import Array
from tests.support.bench.ideal_pairs import bridge_log, chip_moved_log
from tests.support.bench.jobs import Job, OnBench, Shown
from tests.support.bench.story_world import Told, stories

NUMBER_BY_MISTAKE = t.FAILS_NEIGHBOUR / 300
SILENT_MV = 400
"""Stands for a reading that was not taken; nothing is read from it."""


def mirrored(job: Job, shown: Shown) -> Shown:
    """What stands under each number when the rows were counted from their other end."""
    other_end = _other_end(job)
    return [shown[other_end[contact]] for contact in range(len(shown))]


def _other_end(job: Job) -> dict[int, int]:
    return {contact: other for row in job.plan.rows for contact, other in zip(row, reversed(row), strict=True)}


def class_odds(ideal: Ideal, one: OnBench, others: Sequence[Told] = ()) -> list[dict[str, float]]:
    """The probability of every class: on the world's own stories, and on `others` where some are given."""
    name = ideal.job.plan.name
    drawn, other = _both_ways(ideal, one)
    own = ideal.kept.answer("classes", drawn.asked, lambda: _odds(drawn, other, stories(name), _merged))
    return [own, _odds(drawn, other, others, _merged)] if others else [own]


def leading_decision(ideal: Ideal, one: OnBench, read: Collection[int]) -> str:
    """What the judge would do once these contacts were read: the likeliest of what its stories call for."""
    name = ideal.job.plan.name
    unread = [contact for contact in range(len(one.first)) if contact not in read]

    def find() -> str:
        odds = _odds(*_both_ways(ideal, one, unread), stories(name), decision_of)
        return max(odds, key=lambda decision: (odds[decision], decision))

    return ideal.kept.answer("decision", (one.session, one.first, unread), find)


def decision_of(story: Told) -> str:
    """What is to be done: nothing, another contact, or something at what the class names."""
    return f"contact of {story.merged}" if story.kind == "torn" else story.merged


def _merged(story: Told) -> str:
    return story.merged


def _both_ways(ideal: Ideal, one: OnBench, unread: Sequence[int] = ()) -> "tuple[_Board, _Board]":
    """The board as it was written down, and as it would be if the rows were counted from their other end."""
    job = ideal.job
    wrong_end = one.story is not None and one.story.kind == "wrong_end"
    other_end = _other_end(job)
    written = mirrored(job, one.first) if wrong_end else one.first
    left = [other_end[contact] for contact in unread] if wrong_end else unread
    turned = _Board(ideal, one, mirrored(job, written), [other_end[contact] for contact in left])
    return _Board(ideal, one, written, left), turned


def _odds(
    drawn: "_Board", other: "_Board", told: Sequence[Told], named: Callable[[Told], str]
) -> dict[str, float]:  # fmt: skip
    scores = [
        math.log(story.share) + (other.healthy_log() if story.kind == "wrong_end" else drawn.story_log(story))
        for story in told
    ]
    top = max(scores)
    weights = [math.exp(score - top) for score in scores]
    whole = math.fsum(weights)
    odds: dict[str, float] = {}
    for story, weight in zip(told, weights, strict=True):
        odds[named(story)] = odds.get(named(story), 0.0) + weight / whole
    return odds


class _Board:
    """One board as written down, each contact's log densities by state. What is `unread` tells nothing."""

    def __init__(self, ideal: Ideal, one: OnBench, written: Shown, unread: Sequence[int] = ()) -> None:
        self.ideal, self.one, self.unread = ideal, one, frozenset(unread)
        self.shown = [None if contact in self.unread else mv for contact, mv in enumerate(written)]
        self.plan = ideal.job.plan
        self.asked = (one.session, one.second, self.shown, sorted(self.unread))
        self.nodes: dict[str, int] = {}
        for known in (True, False):
            for contact, line in enumerate(self.plan.lines):
                if line.conducts and (self.shown[contact] is not None if known else contact in self.unread):
                    self.nodes.setdefault(line.net if line.is_rail else line.number, contact)
        leaders = self.nodes.values()
        self.kept = [mv if contact in leaders else None for contact, mv in enumerate(self.shown)]
        self.silent = [contact for contact in leaders if contact in self.unread]
        self.priors = state_priors(ideal.job)
        self.judged: Judged = self._judge(())
        self.logs = [self._log_states(contact) for contact in range(len(self.plan.lines))]
        self.base = [self._mixed(contact, _UNRELATED) for contact in range(len(self.plan.lines))]

    def _judge(self, muted: Sequence[int]) -> Judged:
        """Each contact by the rest; of those still unread it tells where they would lie."""
        shown = [SILENT_MV if contact in self.silent else mv for contact, mv in enumerate(self.kept)]
        return self.ideal.judge(self.one, self.priors, shown, muted=[*self.silent, *muted])

    def healthy_log(self) -> float:
        return math.fsum(self.base)

    def story_log(self, story: Told) -> float:
        """Log density of everything shown if the story is true."""
        if story.bridge is not None:
            a, b = (self._leader(contact) for contact in story.bridge)
            return self.healthy_log() - self.base[a] - self.base[b] + self._joined_log(a, b)
        if story.kind == "revision":
            return self.healthy_log() + self._moved_log(story.chip)
        log = self.healthy_log()
        for contact, states in story.states.items():
            judged = contact if story.kind == "torn" else self._leader(contact)
            log += self._mixed(judged, _vector(states)) - self.base[judged]
        return log

    def _joined_log(self, a: int, b: int) -> float:
        return self.ideal.kept.answer(
            f"joined {a} {b}", self.asked,
            lambda: bridge_log(self.ideal, self.one, self.judged, self.shown, a, b, self.unread),
        )  # fmt: skip

    def _moved_log(self, chip: str) -> float:
        lines = [i for i, line in enumerate(self.plan.lines) if line.conducts and line.chip == chip]
        lines = [i for i in lines if self.kept[i] is not None]
        if not lines:
            return 0.0
        return self.ideal.kept.answer(
            f"moved {chip}", self.asked,
            lambda: chip_moved_log(self.ideal, self.one, self._judge(lines), self.shown, lines),
        )  # fmt: skip

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
        if contact in self.unread:
            return np.zeros(len(STATES))
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
