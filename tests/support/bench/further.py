"""The board with single faults read once more: at a smaller current, and with the other lead on ground.

The first sweep is taken anew with a meter of `PAIR_FIRST_MA`, so that every board is read at the same pair of
currents. What a fault adds in series is ohms first, then millivolts at each meter's current. With the other lead
the current goes the other way, through the upper clamp and what its rail feeds: another junction, higher, of its own
spread; a short, a leak and a lost joint are what they were. Rails are read with the one lead only.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tests.support.bench import tables as t
from tests.support.bench.faults import Condition, Fault
from tests.support.bench.jobs import Job, OnBench, read_boards
from tests.support.bench.truth import Board, Session, draw_session


@dataclass
class Further:
    """One job's board as the first sweep showed it, at each smaller current, and with the other lead on ground;
    with that lead its healthy boards too."""

    job: Job
    first: OnBench
    seconds: dict[float, OnBench]
    other_lead: OnBench
    references: list[OnBench]


def read_further(ngspice: str, jobs: Sequence[Job]) -> list[Further]:
    """The same jobs' boards, read so; each draw has a stream of its own."""
    told = [_drawn(job) for job in jobs]
    boards: list[tuple[Job, OnBench, str]] = []
    for one in told:
        boards.append((one.job, one.first, "pair-first"))
        boards += [(one.job, second, f"pair-{ma:g}") for ma, second in one.seconds.items()]
        boards.append((one.job, one.other_lead, "other-lead"))
        boards += [(one.job, board, f"other-lead-{n}") for n, board in enumerate(one.references)]
    read_boards(ngspice, boards)
    return told


def _drawn(job: Job) -> Further:
    known = job.contacts
    first = _meter_of(job.rng("pair meter"), t.PAIR_FIRST_MA, known.session)
    ohms = {
        contact: replace(fault, size=fault.size / known.session.current_ma) if fault.what == "raised" else fault
        for contact, fault in known.condition.faults.items()
    }
    bridges = known.condition.bridges
    seconds = {}
    for ma in t.PAIR_SECOND_MA:
        session = _meter_of(job.rng(f"pair meter {ma:g}"), ma, first)
        seconds[ma] = OnBench(known.board, session, Condition(_at(ohms, ma), bridges))
    spoilt = Condition(_at(ohms, first.current_ma), bridges)
    kind = _other_kind(job, job.rng("other lead"))
    others = [
        OnBench(_other_board(job, kind, job.rng(f"other lead {n}")), one.session, Condition())
        for n, one in enumerate(job.references[: t.REFERENCE_BOARDS])
    ]
    other = OnBench(_other_board(job, kind, job.rng("other lead, this board")), first, spoilt)
    return Further(job, OnBench(known.board, first, spoilt), seconds, other, others)


def _at(ohms: dict[int, Fault], current_ma: float) -> dict[int, Fault]:
    """What is high by some ohms is high by so many millivolts at that current."""
    return {
        contact: replace(fault, size=fault.size * current_ma) if fault.what == "raised" else fault
        for contact, fault in ohms.items()
    }


def _meter_of(rng: random.Random, current_ma: float, beside: Session) -> Session:
    """Another meter, on the same day: its own gain, zero and sheet; the air is what it was and was told to be."""
    drawn = draw_session(rng)
    return replace(
        drawn, current_ma=current_ma, told_current_ma=drawn.told_current_ma / drawn.current_ma * current_ma,
        celsius=beside.celsius, told_air_c=beside.told_air_c,
    )  # fmt: skip


def _other_kind(job: Job, rng: random.Random) -> list[float | None]:
    chips = sorted({line.chip for line in job.plan.lines})
    more = {chip: rng.gauss(t.OTHER_LEAD_MORE_MV, t.OTHER_LEAD_KIND_SD) for chip in chips}
    return [
        None if typical is None or line.is_rail else typical + more[line.chip]
        for line, typical in zip(job.plan.lines, job.kind.typical_mv, strict=True)
    ]


def _other_board(job: Job, kind: list[float | None], rng: random.Random) -> Board:
    lean = {chip: rng.gauss(0, t.OTHER_LEAD_DIE_SD) for chip in sorted({line.chip for line in job.plan.lines})}
    return Board(
        tuple(
            None if typical is None else typical + lean[line.chip] + rng.gauss(0, t.OTHER_LEAD_LOCAL_SD)
            for line, typical in zip(job.plan.lines, kind, strict=True)
        )
    )
