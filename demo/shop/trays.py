"""The jobs on the shop's bench, at different points of the visit, as its record holds them.

Each is one of the sheets, or its first readings; what was known of the job then is in the record, no more.
"""

from itertools import islice
from typing import Any

from msgspec.structs import replace

from demo.shop import other_jobs, t10_jobs
from demo.shop.boards import V2
from demo.shop.meters import BENCH_METER
from demo.shop.references import climbing
from demo.shop.table import V2_J2
from demo.shop.writing import Pen
from shared_models.base import Model
from shared_models.job import Job, MakeSafeProof, Observation, Tray
from shared_models.reading import OfJob, Reading
from shared_models.sheet import BenchSheet


class JobRecord(Model, frozen=True, kw_only=True):
    """A job and every fact recorded about it."""

    job: Job
    proofs: tuple[MakeSafeProof, ...] = ()
    observations: tuple[Observation, ...] = ()
    readings: tuple[Reading, ...] = ()


def record_of(
    job_id: str, title: str, tray: Tray, sheet: BenchSheet, *, readings: int | None = None, note: str = "",
    made_safe: bool = True, **fields: Any,
) -> JobRecord:
    """The record of a sheet's job, up to its first `readings`. `fields` are further ones of `Job`."""
    times = [proof.proved_at_ms for proof in sheet.make_safe]
    return JobRecord(
        job=Job(
            id=job_id, title=title, tray=tray, board_version_id=sheet.board.id, socket=sheet.socket,
            intake=sheet.intake, meter_id=sheet.meter_id, air_c=sheet.air_c, opened_at_ms=min(times) - 600_000,
            note=note, **fields,
        ),
        proofs=sheet.make_safe if made_safe else (),
        observations=sheet.observations if made_safe else (),
        readings=tuple(islice(sheet.readings, readings)),
    )


def _after_the_repair(record: JobRecord) -> JobRecord:
    """The V2 with a new ZIF: every contact read again, contact 9 as its partner."""
    pen = Pen(
        "v2-torn-after", OfJob(job_id=record.job.id), socket=V2.sockets[0].ref, meter_id=BENCH_METER.id,
        start_ms=max(reading.taken_at_ms for reading in record.readings) + 7_200_000, by="Tomke", air_c=23.0,
    )
    typed = {**V2_J2.typed("torn"), "9": "334"}
    proofs = pen.made_safe(main_mv=3, main_at="C3")
    again = pen.sweep(typed, climbing(V2.sockets[0]), stage="after_repair")
    return replace(record, proofs=(*record.proofs, *proofs), readings=(*record.readings, *again))


def job_records() -> tuple[JobRecord, ...]:
    """Eight jobs: in hand at several points, waiting for owner and part, ready, gone."""
    t10, other = t10_jobs.all_sheets(), other_jobs.all_sheets()
    return (
        record_of(
            "t10-slipped", "T10 of the ferry: black after a new screen", "in_hand", t10["t10_slipped_in_crooked"],
            readings=17, note="Photos of three years. Read by half; lunch.",
        ),
        record_of("t10-turned", "T10: touch dead after a battery", "in_hand", t10["t10_turned_under_the_scope"]),
        record_of(
            "t10-socket", "T10: stripes, another shop's socket", "waiting_for_owner",
            t10["t10_new_socket_stripes_then_all_answers"], note="Whisker from 9 to 11. Offer sent.",
        ),
        record_of(
            "t10-cold", "T10 on the boat: black, new screen", "waiting_for_part",
            t10["t10_everything_reads_high_then_plug_ohms"], note="The panel is short on 3V3D. Another is on its way.",
        ),
        record_of("l14-nolight", "L14 notebook: picture but no light", "in_hand", other["l14_no_references_no_light"]),
        _after_the_repair(record_of(
            "v2-torn", "V2 camera: no picture", "ready", other["v2_zif_one_torn_then_tail"], note="New ZIF fitted.",
        )),
        record_of(
            "s4-core", "S4 spectrometer: no power", "gone", other["s4_core_honestly_low_then_rail_ohms"],
            note="The board is well; the power card was short. Handed back with another card.",
        ),
        record_of(
            "p1-vbus", "P1 terminal: does not charge", "in_hand", other["p1_usb_c_vbus_short"],
            readings=0, made_safe=False, note="Taken in, not yet opened.",
        ),
    )
