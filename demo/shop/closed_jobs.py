"""Jobs that were closed: two of those on the bench, and a few earlier ones of which the record holds no more.

What was really wrong is the invented truth of each; what the opinion had said before, and how long reading took,
is invented with it, so that the page of honest odds has something to show: one of them it had wrong.
"""

from typing import Any

from demo.shop.boards import L14, T10, V2
from shared_models.base import Model
from shared_models.closing import Closing, MetVoltage, SaidBefore, WasWrong
from shared_models.job import Intake, Job

DAY_MS = 86_400_000
EARLIER_MS = 1_738_400_000_000
"""The first of the earlier jobs, some weeks before those on the bench."""


class ClosedJob(Model, frozen=True, kw_only=True):
    """A closing, and the job itself where it is an earlier one."""

    closing: Closing
    job: Job | None = None


def _said(*stories: tuple[Any, str, float]) -> tuple[SaidBefore, ...]:
    return tuple(SaidBefore(story=story, subject=subject, odds=odds) for story, subject, odds in stories)


def _wrong(story: Any, subject: str = "", how_known: Any = "measured") -> tuple[WasWrong, ...]:
    return (WasWrong(story=story, subject=subject, how_known=how_known),)


def _earlier(number: int, name: str, title: str, board: Any, intake: Intake, **closing: Any) -> ClosedJob:
    opened_ms = EARLIER_MS + number * 3 * DAY_MS
    socket = board.sockets[0]
    job = Job(
        id=f"earlier-{name}", title=title, tray="gone", board_version_id=board.id, socket=socket.ref,
        intake=intake, opened_at_ms=opened_ms,
    )
    return ClosedJob(job=job, closing=Closing(
        id=f"closed-{name}", job_id=job.id, what_happened=intake.what_happened, symptoms=intake.symptoms,
        socket_kind=socket.kind, pitch_mm=socket.pitch_mm, closed_at_ms=opened_ms + DAY_MS, closed_by="Tomke",
        **closing,
    ))


def closed_jobs() -> tuple[ClosedJob, ...]:
    """Seven closings: two of jobs on the bench, five of earlier ones."""
    return (
        _earlier(
            0, "fuse", "T10 of the pilot boat: no light", T10,
            Intake(what_happened=("battery_in_during_change",), symptoms=("no_light",)),
            was_wrong=_wrong("series_open", "F3"), did=("replace_part",), device="works", data="safe",
            device_chance_before=0.91, data_chance_before=0.93,
            parts_replaced=("F3",), said_before=_said(("series_open", "F3", 0.78), ("chip_damaged", "U17", 0.12)),
            touches=15, reading_s=118.0, sweep_s=248.0, work_min=40.0,
        ),
        _earlier(
            1, "panel", "V2 camera: no picture after a new cable", V2, Intake(what_happened=("new_module_fitted",)),
            was_wrong=_wrong("elsewhere", "module", "repaired_and_works"), did=("other_module",), device="works",
            device_chance_before=0.9,
            data="not_asked", said_before=_said(("elsewhere", "module", 0.66), ("nothing_wrong", "", 0.14)),
            touches=22, failed_touches=1, reading_s=150.0, sweep_s=162.0, work_min=25.0,
        ),
        _earlier(
            2, "bilge", "T10 out of the bilge", T10, Intake(what_happened=("liquid",), symptoms=("touch_dead",)),
            was_wrong=_wrong("wet", how_known="seen"), did=("reseat_or_clean",),
            device_chance_before=0.66, data_chance_before=0.84,
            device="works_in_part", data="safe",
            said_before=_said(("wet", "31-34", 0.71), ("leak", "33", 0.15)),
            touches=36, reading_s=230.0, sweep_s=248.0, work_min=180.0,
        ),
        _earlier(
            3, "driver", "L14 notebook: dark after a screen", L14, Intake(symptoms=("no_light",)),
            was_wrong=_wrong("chip_damaged", "U10", "repaired_and_works"), did=("replace_part",), device="works",
            device_chance_before=0.81, data_chance_before=0.92,
            data="safe", parts_replaced=("U10",),
            said_before=_said(("shunt_short", "6", 0.55), ("chip_damaged", "U10", 0.31)),
            touches=31, failed_touches=2, reading_s=260.0, sweep_s=338.0, work_min=95.0,
        ),
        _earlier(
            4, "slip", "T10 of the school: spark, then black", T10,
            Intake(what_happened=("spark_seen", "plug_went_in_crooked"), symptoms=("no_picture",)),
            was_wrong=(*_wrong("plug_off_by", "+1", "seen"), *_wrong("series_open", "F3")),
            did=("replace_part", "stop"),
            device_chance_before=0.42, data_chance_before=0.7,
            device="does_not_work", data="in_part", said_before=_said(("plug_off_by", "+1", 0.9)),
            met_voltage=(MetVoltage(exposure="hit_hard", found="short"), MetVoltage(exposure="hit_hard", found="low")),
            touches=19, failed_touches=1, reading_s=140.0, sweep_s=248.0, work_min=120.0,
        ),
        ClosedJob(closing=Closing(
            id="closed-v2-torn", job_id="v2-torn", was_wrong=_wrong("contact_torn", "9", "repaired_and_works"),
            did=("replace_socket",), device="works", data="not_asked", socket_kind="zif", pitch_mm=0.5,
            touches=23, said_before=_said(("contact_torn", "9", 0.78), ("elsewhere", "module", 0.09)),
            reading_s=132.0, sweep_s=162.0, device_chance_before=0.9,
            parts_replaced=("J2",), work_min=70.0, closed_at_ms=1_742_480_000_000, closed_by="Tomke",
        )),
        ClosedJob(closing=Closing(
            id="closed-s4-core", job_id="s4-core", was_wrong=_wrong("elsewhere", "module"), did=("other_module",),
            device="works", data="not_asked", socket_kind="mezzanine", pitch_mm=0.5, touches=30,
            said_before=_said(("elsewhere", "module", 0.82), ("nothing_wrong", "", 0.07)),
            reading_s=174.0, sweep_s=226.0, device_chance_before=0.94, work_min=45.0,
            closed_at_ms=1_742_490_000_000, closed_by="Tomke",
        )),
    )
