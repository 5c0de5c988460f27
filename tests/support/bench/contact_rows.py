"""The contacts' part of one job: every judge's score of every contact that conducts, after one touch and after two."""

from dataclasses import asdict, dataclass, field

from shared_models.opinion import Opinion
from tests.support.bench import engine_says, rules
from tests.support.bench import tables as t
from tests.support.bench.contact_scores import OWN_RATES
from tests.support.bench.ideal import Ideal, contact_priors, odd_odds
from tests.support.bench.jobs import Job, OnBench
from tests.support.bench.own_rates import odds_on_own_rates
from tests.support.bench.sheets import sheet, written_as
from tests.support.bench.shift_rows import shift_row

FLAGGED = 0.5


@dataclass
class ContactRow:
    """One contact: what is true, and each judge's score (`first`: one touch; `again`: what was flagged, showed OL, or
    what the engine wants touched again was touched once more). `number`: its first touch showed one."""

    weather: str
    job: int
    references: int
    sheet: bool
    current_ma: float
    what: str
    size: float
    rail: bool
    number: bool
    first: dict[str, float] = field(default_factory=dict)
    again: dict[str, float] = field(default_factory=dict)


def contact_rows(
    job: Job, ideal: Ideal, references: int, *, told: bool = True
) -> tuple[list[dict[str, object]], dict[str, object] | None]:
    """The rows of the job's board with single faults, and where both judges put its healthy readings."""
    one = job.contacts
    engine, engine_again, opinion = engine_scores(job, one, references, told=told)
    prior = contact_priors(job)
    judged = ideal.judge(one, prior)
    on_own_rates = odds_on_own_rates(job, one, judged, references, told=told)
    by_rule = rules.scores(job, one, references, one.first)
    by_rule_again = rules.scores(job, one, references, one.second)
    rows = []
    for contact, line in enumerate(job.plan.lines):
        if not line.conducts:
            continue
        fault = one.condition.faults.get(contact)
        row = ContactRow(
            job.weather, job.index, references, told, round(one.session.current_ma, 4),
            fault.what if fault else "healthy", round(fault.size, 2) if fault else 0.0, line.is_rail,
            one.first[contact] is not None,
        )  # fmt: skip
        row.first["engine"], row.again["engine"] = engine[contact], engine_again[contact]
        row.first["ideal"] = odd_odds(prior[contact], judged.log_states[contact])
        if contact in on_own_rates:
            row.first[OWN_RATES] = on_own_rates[contact]
        touched = row.first["ideal"] > FLAGGED or not row.number
        row.again["ideal"] = (
            odd_odds(prior[contact], judged.log_states[contact], judged.log_again[contact])
            if touched
            else row.first["ideal"]
        )
        for name in rules.NAMES:
            if contact in by_rule[name]:
                row.first[name] = by_rule[name][contact]
                row.again[name] = min(by_rule[name][contact], by_rule_again[name].get(contact, 99.0))
        rows.append({key: _short(value) for key, value in asdict(row).items()})
    return rows, shift_row(job, one, references, engine_says.of_contacts(opinion, job.plan), judged)


def engine_scores(
    job: Job, one: OnBench, references: int = t.REFERENCE_BOARDS, *, told: bool = True
) -> tuple[list[float], list[float], Opinion]:
    """The engine's chance that each contact is odd, after one touch and after it was asked for second ones; and its
    first opinion."""
    opinion = engine_says.opinion_of(sheet(job, one, references=references, told=told))
    said = engine_says.of_contacts(opinion, job.plan)
    asked = asked_again(job, one, said)
    if not asked:
        return said.odd, said.odd, opinion
    later = engine_says.opinion_of(sheet(job, one, references=references, told=told, again=asked))
    after = engine_says.of_contacts(later, job.plan).odd
    return said.odd, after, opinion


def asked_again(job: Job, one: OnBench, said: engine_says.ContactSaid) -> list[int]:
    """The contacts that are touched once more: those the engine doubts or asks for, and what showed OL."""
    told = {job.plan.lines[n].number: said.odd[n] > FLAGGED or said.touch_again[n] for n in range(len(job.plan.lines))}
    return [
        contact
        for contact, line in enumerate(job.plan.lines)
        if told[written_as(job, one, contact)] or (line.conducts and one.first[contact] is None)
    ]


def _short(value: object) -> object:
    if isinstance(value, dict):
        return {key: float(f"{one:.6g}") for key, one in value.items()}
    return value
