"""A job of the bench as the engine gets it: a `BenchSheet`."""

from collections.abc import Iterable, Sequence

from shared_models.board import ReferenceBoard
from shared_models.reading import AtContact, BetweenContacts, Meter, Of, OfJob, OfReferenceBoard, Reading, Stage
from shared_models.sheet import BenchSheet
from tests.support.bench import tables as t
from tests.support.bench.jobs import Job, OnBench
from tests.support.bench.truth import Session

START_MS = 1_745_000_000_000
STEP_MS = 6000
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
    readings += _readings(job, one, JOB, "bench", "again", again, "before_repair", late=True)
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
    )


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
    job: Job, one: OnBench, of: Of, meter: str, prefix: str, contacts: Iterable[int], stage: Stage, late: bool = False
) -> list[Reading]:
    told = []
    for n, contact in enumerate(contacts):
        mv = (one.second if late else one.first)[contact]
        told.append(
            Reading(
                id=f"{prefix}-{contact}", of=of, socket="J1", kind="drop", stage=stage, meter_id=meter,
                touch=AtContact(contact=written_as(job, one, contact)), as_typed="OL" if mv is None else str(mv),
                display_unit="mV", taken_at_ms=START_MS + STEP_MS * (n + 400 * late),
            )
        )  # fmt: skip
    return told
