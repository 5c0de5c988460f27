"""A job of the bench as the engine gets it: a `BenchSheet`."""

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from server.engine.reminders import steps_that_apply
from shared_models.board import ReferenceBoard
from shared_models.job import MakeSafeProof
from shared_models.reading import (
    AtContact,
    BetweenContacts,
    LeadOnGround,
    Meter,
    Of,
    OfJob,
    OfReferenceBoard,
    Reading,
    Stage,
)
from shared_models.sheet import BenchSheet
from tests.support.bench import tables as t
from tests.support.bench.jobs import Job, OnBench
from tests.support.bench.truth import Session

START_MS = 1_745_000_000_000
STEP_MS = 6000
AGAIN, LATER = 400, 800  # steps: after a whole sweep, and after its second touches
PROVED_MV = 2.0
JOB = OfJob(job_id="job")


def sheet(
    job: Job,
    one: OnBench,
    *,
    references: int = t.REFERENCE_BOARDS,
    told: bool = True,
    order: Sequence[int] | None = None,
    again: Iterable[int] = (),
    between: Iterable[tuple[int, int, str]] = (),
) -> BenchSheet:
    """The sheet with these contacts read, in this order (None: all), and those touched `again`.

    `told` False: no meter has a sheet and nobody wrote the air down. `between`: contact to contact, with what was
    typed, in ohms.
    """
    meters = [_meter("bench", one.session, told)]
    boards, known = [], []
    for n, reference in enumerate(job.references[:references]):
        name = f"good-{n}"
        meters.append(_meter(f"meter-{n}", reference.session, told))
        air_c = round(reference.session.told_air_c, 1) if told else None
        boards.append(ReferenceBoard(id=name, board_version_id=job.plan.board.id, air_c=air_c))
        of = OfReferenceBoard(reference_board_id=name)
        known += _readings(job, reference, of, f"meter-{n}", name, range(len(job.plan.lines)), "on_healthy_board")
    chosen = range(len(job.plan.lines)) if order is None else order
    readings = _readings(job, one, JOB, "bench", "r", chosen, "before_repair")
    readings += _readings(job, one, JOB, "bench", "again", again, "before_repair", second_touch=True, after=AGAIN)
    for a, b, typed in between:
        name_a, name_b = job.plan.lines[a].number, job.plan.lines[b].number
        readings.append(
            Reading(
                id=f"between-{name_a}-{name_b}", of=JOB, socket="J1", kind="ohms", as_typed=typed, display_unit="ohm",
                touch=BetweenContacts(contact_a=name_a, contact_b=name_b), lead_on_ground=None, meter_id="bench",
                taken_at_ms=START_MS + 3_000_000,
            )
        )  # fmt: skip
    return BenchSheet(
        sheet_id="sheet",
        asked_at_ms=START_MS + 10_000_000,
        board=job.plan.board,
        socket="J1",
        meters=tuple(meters),
        meter_id="bench",
        air_c=round(one.session.told_air_c, 1) if told else None,
        reference_boards=tuple(boards),
        known_good_readings=tuple(known),
        readings=tuple(readings),
        make_safe=_made_safe(job),
    )


def _made_safe(job: Job) -> tuple[MakeSafeProof, ...]:
    """Every step proved, as the app wants before it takes a reading; nothing is left on a board of this world."""
    return tuple(
        MakeSafeProof(
            id=step.id, job_id=JOB.job_id, step=step.id, done=step.proved_by == "hand", proved_at_ms=START_MS,
            measured_mv=PROVED_MV if step.proved_by == "meter" else None,
            at_place="as named" if step.proved_by == "meter" else "",
        )
        for step in steps_that_apply(line.role for line in job.plan.lines)
    )


def with_second_meter(page: BenchSheet, job: Job, second: OnBench) -> BenchSheet:
    """The same sheet after every contact was read with another meter too."""
    contacts = range(len(job.plan.lines))
    again = _readings(job, second, JOB, "low", "low", contacts, "before_repair", after=LATER)
    return replace(page, meters=(*page.meters, _meter("low", second.session, True)), readings=(*page.readings, *again))


def with_other_lead(page: BenchSheet, job: Job, other: OnBench, references: Sequence[OnBench]) -> BenchSheet:
    """The same sheet after the signals were read with black on ground too, as they were on the healthy boards."""
    lines = job.plan.lines
    contacts = [contact for contact, line in enumerate(lines) if line.conducts and not line.is_rail]
    known = list(page.known_good_readings)
    for n, one in enumerate(references):
        of = OfReferenceBoard(reference_board_id=f"good-{n}")
        known += _readings(
            job, one, of, f"meter-{n}", f"black-good-{n}", contacts, "on_healthy_board", lead="black", after=LATER
        )  # fmt: skip
    black = _readings(job, other, JOB, "bench", "black", contacts, "before_repair", lead="black", after=LATER)
    return replace(page, known_good_readings=tuple(known), readings=(*page.readings, *black))


def written_as(job: Job, one: OnBench, contact: int) -> str:
    """The number that contact is written down under: counted from the wrong end, its mirror image's."""
    if one.story is None or one.story.kind != "wrong_end":
        return job.plan.lines[contact].number
    row = job.plan.rows[job.plan.lines[contact].row]
    return job.plan.lines[row[len(row) - 1 - row.index(contact)]].number


def _meter(name: str, session: Session, told: bool) -> Meter:
    return Meter(
        id=name,
        name=name,
        test_current_ma=round(session.told_current_ma, 4) if told else None,
        test_current_sd_pct=100 * t.SHEET_CURRENT_SD if told else None,
        open_circuit_mv=session.open_circuit_mv,
    )


def _readings(
    job: Job, one: OnBench, of: Of, meter: str, prefix: str, contacts: Iterable[int], stage: Stage, *,
    second_touch: bool = False, lead: LeadOnGround = "red", after: int = 0,
) -> list[Reading]:  # fmt: skip
    """One reading a contact, each `STEP_MS` after the one before; the first after so many steps."""
    told = []
    for n, contact in enumerate(contacts):
        mv = (one.second if second_touch else one.first)[contact]
        told.append(
            Reading(
                id=f"{prefix}-{contact}", of=of, socket="J1", kind="drop", stage=stage, meter_id=meter,
                touch=AtContact(contact=written_as(job, one, contact)), as_typed="OL" if mv is None else str(mv),
                display_unit="mV", taken_at_ms=START_MS + STEP_MS * (n + after), lead_on_ground=lead,
            )
        )  # fmt: skip
    return told
