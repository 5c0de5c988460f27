"""What a second look adds: every contact at a smaller current too, or with the other lead on ground too."""

from dataclasses import asdict, dataclass, field
from typing import Any

from tests.support.bench import engine_says
from tests.support.bench import tables as t
from tests.support.bench.further import Further
from tests.support.bench.sheets import sheet, with_other_lead, with_second_meter

ONE = "one"
OTHER_LEAD = "other lead"
SECONDS = tuple(f"{ma:g}" for ma in t.PAIR_SECOND_MA)
WAYS = (ONE, *SECONDS, OTHER_LEAD)


@dataclass
class FurtherRow:
    """One contact: what is true (`size` in ohms, or the mV it adds at `PAIR_FIRST_MA`), and the engine's chance that
    it is odd after each way of looking. `number`: its first touch showed one."""

    weather: str
    job: int
    what: str
    size: float
    rail: bool
    number: bool
    first: dict[str, float] = field(default_factory=dict)


def further_rows(one: Further) -> list[dict[str, Any]]:
    """The rows of one job's board."""
    job = one.job
    page = sheet(job, one.first)
    pages = {ONE: page, **{f"{ma:g}": with_second_meter(page, job, second) for ma, second in one.seconds.items()}}
    pages[OTHER_LEAD] = with_other_lead(page, job, one.other_lead, one.references)
    odd = {way: engine_says.of_contacts(engine_says.opinion_of(told), job.plan).odd for way, told in pages.items()}
    rows = []
    for contact, line in enumerate(job.plan.lines):
        if not line.conducts:
            continue
        fault = one.first.condition.faults.get(contact)
        row = FurtherRow(
            job.weather, job.index, fault.what if fault else "healthy", round(fault.size, 2) if fault else 0.0,
            line.is_rail, one.first.first[contact] is not None, {way: round(odd[way][contact], 6) for way in WAYS},
        )  # fmt: skip
        rows.append(asdict(row))
    return rows
