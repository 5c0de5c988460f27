"""What every bench sheet of the shop is made of: a board, its healthy ones, a meter, and a job's records."""

from typing import Any

from msgspec.structs import replace

from demo.shop.references import KnownGood
from demo.shop.writing import Pen
from shared_models.board import BoardVersion
from shared_models.job import Observation
from shared_models.reading import Meter, OfJob, Reading
from shared_models.sheet import BenchSheet


class Bench:
    """One job on the bench: its pen, and the sheets that are written from it."""

    def __init__(
        self, job: str, board: BoardVersion, known_good: KnownGood, meter: Meter,
        *, start_ms: int, by: str, air_c: float | None = 23.0,
    ) -> None:
        self.job = job
        self.board = board
        self.known_good = known_good
        self.meter = meter
        self.pen = Pen(
            job, OfJob(job_id=job), socket=board.sockets[0].ref, meter_id=meter.id,
            start_ms=start_ms, by=by, air_c=air_c,
        )

    def sheet(self, **records: Any) -> BenchSheet:
        """The sheet as it stands now. `records` are fields of `BenchSheet`: intake, make_safe, readings, ..."""
        known = [one for one in self.known_good.meters if self.known_good.readings and one.id != self.meter.id]
        meters = (*known, self.meter)
        return BenchSheet(
            sheet_id=f"{self.job}-sheet", asked_at_ms=self.pen.now_ms, board=self.board, socket=self.pen.socket,
            meters=meters, reference_boards=self.known_good.boards, known_good_readings=self.known_good.readings,
            air_c=self.pen.air_c, meter_id=self.meter.id, **records,
        )

    def then(self, sheet: BenchSheet, what: str, *answers: Reading | Observation) -> BenchSheet:
        """The sheet with answers added, asked again when they were in. `what` ends its id."""
        return replace(
            sheet,
            sheet_id=f"{self.job}-{what}",
            asked_at_ms=self.pen.now_ms,
            readings=(*sheet.readings, *(answer for answer in answers if isinstance(answer, Reading))),
            observations=(*sheet.observations, *(answer for answer in answers if isinstance(answer, Observation))),
        )
