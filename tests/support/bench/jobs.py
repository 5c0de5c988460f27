"""Jobs: one kind of board, its healthy boards as they were read, and two boards on the bench.

One board has single contacts spoilt at random (the contacts' scores), the other a story (the stories' scores); both
are judged against the same healthy boards. A job is made from the seed, its weather and its number alone.
"""

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from tests.support.bench import story_world
from tests.support.bench import tables as t
from tests.support.bench.circuits import circuit, solve
from tests.support.bench.faults import Condition, contact_faults, crowd_of_low
from tests.support.bench.sockets import SocketPlan, plans
from tests.support.bench.touching import shown
from tests.support.bench.truth import Board, Kind, Session, draw_board, draw_kind, draw_session, of_another_maker

Weather = Literal["plain", "odd", "heavy", "crowd"]
Shown = list[int | None]


@dataclass
class OnBench:
    """A board that was read: its session, its condition, what each touch showed, and what it would read unspoilt."""

    board: Board
    session: Session
    condition: Condition
    first: Shown = field(default_factory=list)
    second: Shown = field(default_factory=list)
    true_mv: list[float | None] = field(default_factory=list)
    healthy_mv: list[float | None] = field(default_factory=list)
    story: story_world.Told | None = None


@dataclass
class Job:
    """A kind of board with its references and the boards on the bench."""

    seed: int
    weather: Weather
    index: int
    plan: SocketPlan
    kind: Kind
    references: list[OnBench]
    contacts: OnBench
    story: OnBench

    @property
    def boards(self) -> list[OnBench]:
        return [*self.references, self.contacts, self.story]

    @property
    def has_variants(self) -> bool:
        return self.weather == "plain" and self.index % t.VARIANT_EVERY == 0

    def rng(self, what: str) -> random.Random:
        """A stream of its own for each use, so that no draw depends on how many were made before."""
        return random.Random(f"{self.seed}/{self.weather}/{self.index}/{what}")


def make_jobs(ngspice: str, seed: int, weather: Weather, indices: Iterable[int]) -> list[Job]:
    """The jobs of these numbers, read."""
    jobs = [_draw(seed, weather, index) for index in indices]
    read_boards(ngspice, [(job, one, f"touch-{n}") for job in jobs for n, one in enumerate(job.boards)])
    return jobs


def read_boards(ngspice: str, boards: Sequence[tuple[Job, OnBench, str]]) -> None:
    """Fills in what every contact of these boards reads, and what two touches show; each board has a stream's name."""
    asked: list[str] = []

    def ask(text: str) -> float:
        asked.append(text)
        return 0.0

    for job, one, _ in boards:
        _read(job, one, ask)
    answers = iter(solve(ngspice, asked))
    for job, one, stream in boards:
        _read(job, one, lambda _: next(answers))
        _touch(job, one, stream)


def _draw(seed: int, weather: Weather, index: int) -> Job:
    plan = plans()[index % len(plans())]
    start = random.Random(f"{seed}/{weather}/{index}/kind")
    kind = draw_kind(start, plan)
    heavy = weather == "heavy"
    boards = max(t.VARIANT_BOARDS) if weather == "plain" and index % t.VARIANT_EVERY == 0 else t.REFERENCE_BOARDS
    references = []
    for n in range(boards):
        rng = random.Random(f"{seed}/{weather}/{index}/reference-{n}")
        board = draw_board(rng, kind, heavy=heavy)
        if weather == "odd" and rng.random() < t.ODD_BOARD:
            board = of_another_maker(rng, kind, board, rng.choice(sorted(kind.ideality)))
        references.append(OnBench(board, draw_session(rng), Condition()))
    rng = random.Random(f"{seed}/{weather}/{index}/contacts")
    spoilt = crowd_of_low(rng, plan) if weather == "crowd" else contact_faults(rng, plan)
    contacts = OnBench(draw_board(rng, kind, heavy=heavy), draw_session(rng, nominal=True), spoilt)
    rng = random.Random(f"{seed}/{weather}/{index}/story")
    told = story_world.draw(rng, plan)
    board = draw_board(rng, kind, heavy=heavy)
    session = draw_session(rng, nominal=True)
    if told.kind == "revision":
        board = of_another_maker(rng, kind, board, told.chip)
    story = OnBench(board, session, story_world.damage(rng, plan, told), story=told)
    return Job(seed, weather, index, plan, kind, references, contacts, story)


def _read(job: Job, one: OnBench, answer: Callable[[str], float]) -> None:
    """What every contact of a board reads without noise, as it is and as it would be unspoilt.

    Contacts of one rail are one node; a spoilt contact is solved by itself.
    """
    spoilt = one.condition.wrong(job.plan)
    nodes: dict[str, float | None] = {}
    one.true_mv, one.healthy_mv = [], []
    for contact, line in enumerate(job.plan.lines):
        node = line.net if line.is_rail or line.role == "ground" else line.number
        if node not in nodes:
            nodes[node] = _node_mv(job, one, contact, Condition(), answer)
        one.healthy_mv.append(nodes[node])
        wrong = contact in spoilt
        one.true_mv.append(_node_mv(job, one, contact, one.condition, answer) if wrong else nodes[node])


def _node_mv(
    job: Job, one: OnBench, contact: int, condition: Condition, answer: Callable[[str], float]
) -> float | None:
    if job.plan.lines[contact].role == "ground":
        return t.GROUND_OHM * one.session.current_ma
    text = circuit(job.kind, one.board, contact, one.session, condition)
    return None if text is None else answer(text)


def _touch(job: Job, one: OnBench, what: str) -> None:
    hard = job.weather == "odd"
    first, second = job.rng(f"{what}-first"), job.rng(f"{what}-second")
    for contact in range(len(job.plan.lines)):
        beside = [one.true_mv[other] for other in job.plan.neighbours(contact)]
        true = one.true_mv[contact]
        one.first.append(shown(first, true, beside, one.session, hard=hard))
        one.second.append(shown(second, true, beside, one.session, hard=hard))
