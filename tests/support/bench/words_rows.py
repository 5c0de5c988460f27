"""What the engine says of low contacts in ohms: whether the interval holds the ohms, and whether the place is right.

Two signals of an otherwise healthy board have a resistance to ground, at the socket or behind the part in series. What
is judged is the sentence as a person reads it, rounded as it stands there.
"""

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import NamedTuple

from shared_models.opinion import ContactOpinion, Reason
from tests.support.bench import engine_says
from tests.support.bench import tables as t
from tests.support.bench.circuits import saturation_ma, solve
from tests.support.bench.faults import Condition, log_uniform
from tests.support.bench.jobs import Job, OnBench, read_boards
from tests.support.bench.sheets import sheet
from tests.support.bench.touching import shown

SPOILT = 2
SHORT_SHARE, BEHIND_SHARE = 0.5, 0.5
LEAK_OHM = (60.0, 5000.0)
KILO = 1000.0
NUMBER = r"([\d.]+) (k?)ohm"
PLUS_MINUS = re.compile(r"(\d+) ± (\d+) ohm")
BETWEEN = re.compile(rf"{NUMBER} \({NUMBER} to {NUMBER}\)")
ONE_SIDED = re.compile(rf"(more than|at most) {NUMBER}")


class Resistance(NamedTuple):
    """Ohms to ground at one contact, on the socket's side of its part or behind it."""

    contact: int
    what: str
    ohm: float
    behind: bool


@dataclass
class WordsRow:
    """One resistance, and what was said: `named` is 'socket', 'behind', 'either', or nothing; `holds` whether the
    interval for the place where it lies holds it, None where none was said."""

    job: int
    what: str
    place: str
    ohm: float
    series_ohm: float
    current_ma: float
    verdict: str
    code: str
    named: str
    holds: bool | None


class Said(NamedTuple):
    place: str
    low_ohm: float
    high_ohm: float


def words_rows(ngspice: str, jobs: Sequence[Job]) -> list[dict[str, object]]:
    """Two rows a job."""
    boards = [OnBench(job.contacts.board, job.contacts.session, Condition()) for job in jobs]
    read_boards(ngspice, [(job, one, "words") for job, one in zip(jobs, boards, strict=True)])
    spoilt = [resistances(job) for job in jobs]
    asked = [with_resistance(job, one) for job, some in zip(jobs, spoilt, strict=True) for one in some]
    answers = iter(solve(ngspice, asked))
    rows = []
    for job, one, some in zip(jobs, boards, spoilt, strict=True):
        rng = job.rng("words touches")
        for fault in some:
            mv = next(answers)
            one.first[fault.contact] = shown(rng, mv, [], one.session)
            one.second[fault.contact] = shown(rng, mv, [], one.session)
        opinion = engine_says.opinion_of(sheet(job, one, again=[fault.contact for fault in some]))
        by_number = {told.contact: told for told in opinion.contacts}
        for fault in some:
            rows.append(asdict(_row(job, fault, by_number[job.plan.lines[fault.contact].number])))
    return rows


def resistances(job: Job) -> list[Resistance]:
    """What is wrong with this job's board, the first of them where a part lies in series if any does."""
    rng = job.rng("words")
    signals = [i for i, line in enumerate(job.plan.lines) if line.conducts and not line.is_rail]
    with_part = [i for i in signals if t.HEALTHY[job.plan.lines[i].role].series_ohm]
    first = rng.choice(with_part or signals)
    chosen = [first, *rng.sample([i for i in signals if i != first], SPOILT - 1)]
    told = []
    for contact in chosen:
        what = "short" if rng.random() < SHORT_SHARE else "leak"
        ohm = log_uniform(rng, t.SHORT_OHM if what == "short" else LEAK_OHM)
        told.append(Resistance(contact, what, ohm, rng.random() < BEHIND_SHARE and contact in with_part))
    return told


def with_resistance(job: Job, fault: Resistance) -> str:
    """The contact with that resistance: before the part in series, or between it and the junction."""
    line, session = job.plan.lines[fault.contact], job.contacts.session
    ideality, part_ohm = job.kind.ideality[line.chip], t.HEALTHY[line.role].series_ohm
    junction = job.contacts.board.junction_mv[fault.contact]
    assert junction is not None
    at, before, after = ("p{i}", part_ohm, t.BULK_OHM) if fault.behind else ("a{i}", 0.0, t.BULK_OHM + part_ohm)
    return "\n".join(
        [
            f"I{{i}} 0 a{{i}} DC {session.current_ma:.9g}m",
            *([f"Rp{{i}} a{{i}} p{{i}} {before:.9g}"] if fault.behind else []),
            f"Rf{{i}} {at} 0 {fault.ohm:.9g}",
            f"Rs{{i}} {at} k{{i}} {after:.9g}",
            f"D{{i}} k{{i}} 0 M{{i}} temp={session.celsius:.6f}",
            f".model M{{i}} D(IS={saturation_ma(junction, ideality):.9g}m N={ideality:.9g} "
            f"EG={t.BANDGAP_MV / 1000} XTI={t.XTI} TNOM={t.NOMINAL_C})",
        ]
    )


def _row(job: Job, fault: Resistance, said: ContactOpinion) -> WordsRow:
    reason = next((one for one in said.reasons if one.code in CODES), None)
    told = [] if reason is None or said.verdict not in ("low", "short") else intervals(reason)
    place = "behind" if fault.behind else "socket"
    # where nothing lies in series there is one place, and its name is the line
    here = next((one for one in told if one.place in (place, "line")), None)
    names = sorted({one.place for one in told})
    return WordsRow(
        job.index, fault.what, place, round(fault.ohm, 2), t.HEALTHY[job.plan.lines[fault.contact].role].series_ohm,
        round(job.contacts.session.current_ma, 4), said.verdict, reason.code if reason is not None and told else "",
        "" if not names else "either" if len(names) > 1 else names[0],
        None if here is None else here.low_ohm <= fault.ohm <= here.high_ohm,
    )  # fmt: skip


CODES = ("short_behind", "short_in_front", "leak_at_places", "ohms_left", "as_ohms")


def intervals(reason: Reason) -> list[Said]:
    """Every interval of a sentence with the place it is for; none of a sentence that gives a number alone."""
    if reason.code == "as_ohms":
        return []
    if reason.code == "short_in_front":
        return [_of_numbers(reason, "socket")]
    if reason.code == "short_behind":
        return [_of_sentence(reason.sentence.split("between:")[1].split("are left")[0], "behind")]
    if reason.code == "ohms_left":
        return [_of_sentence(reason.sentence.split("behind it,")[1], "behind")]
    parts = reason.sentence.split("A leak of ")[1].split(" would read this")[0].split(", or ")
    return [_of_sentence(part, _place(part)) for part in parts]


def _place(words: str) -> str:
    if words.endswith("on this line"):
        return "line"
    return "socket" if words.endswith("at the socket") else "behind"


def _of_numbers(reason: Reason, place: str) -> Said:
    numbers = {one.name: one.value for one in reason.numbers}
    return Said(place, numbers["left_low_ohm"], numbers.get("left_high_ohm", float("inf")))


def _of_sentence(words: str, place: str) -> Said:
    if found := PLUS_MINUS.search(words):
        middle, half = float(found[1]), float(found[2])
        return Said(place, middle - half, middle + half)
    if found := BETWEEN.search(words):
        return Said(place, _ohm(found[3], found[4]), _ohm(found[5], found[6]))
    found = ONE_SIDED.search(words)
    assert found is not None, words
    limit = _ohm(found[2], found[3])
    return Said(place, limit, float("inf")) if found[1] == "more than" else Said(place, 0.0, limit)


def _ohm(number: str, kilo: str) -> float:
    return float(number) * (KILO if kilo else 1.0)
