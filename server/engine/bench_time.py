"""How long a job has been worked on, by the times of its records. Also runs on the phone."""

from itertools import pairwise

from server.engine.constants.chances import IDLE_MS, MS_PER_MIN
from shared_models.sheet import BenchSheet


def worked_minutes(sheet: BenchSheet) -> float:
    """Minutes between the records of the job, those of a gap above a quarter of an hour left out."""
    times = sorted(
        [one.taken_at_ms for one in sheet.readings]
        + [one.seen_at_ms for one in sheet.observations]
        + [one.proved_at_ms for one in sheet.make_safe]
        + [one.checked_at_ms for one in sheet.power_checks]
        + [one.taken_at_ms for one in sheet.photos]
    )
    worked = 0.0
    for before, after in pairwise(times):
        worked += after - before if after - before <= IDLE_MS else 0
    return worked / MS_PER_MIN
