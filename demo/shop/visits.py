"""Three visits told to their end: a proven repair, a fuse that a screen pulled down, and "stop: data first".

Each holds what a technician would have noted on the way: who had the device, what the owner agreed to, the list
before power and what the supply showed, every contact read again, what was really wrong. Sums are in the money of
the invented shop. What the opinion had said before is typed here, as a technician would remember it.
"""

from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from demo.shop import visit_jobs
from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.kept_board import KeptBoard, kept_board
from demo.shop.meters import BENCH_METER
from demo.shop.references import T10_GOOD
from demo.shop.story_jobs import with_r210_knocked_off
from demo.shop.trays import JobRecord, record_of
from demo.shop.visit_jobs import CLIMBING, HEALTHY
from demo.shop.writing import Pen
from shared_models.base import Model
from shared_models.closing import Closing, OptionFigure, SaidBefore, ShopFigures, WasWrong
from shared_models.custody import Consent, Custody
from shared_models.hand_back import CONSENTS
from shared_models.job import Intake
from shared_models.power import PowerCheck
from shared_models.reading import OfJob

SHIELD_MS = visit_jobs.FIRST_JOB_MS + 2 * visit_jobs.DAY_MS
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
SIGNATURE = ((80, 230, 160, 70, 230, 250, 310, 90, 400, 230), (420, 170, 560, 140, 700, 190, 860, 120))
"""Two strokes that nobody could take for a name."""

FIGURES = ShopFigures(
    id="shop", name="Wharf Lane Repairs", currency="EUR", hour_cost=60.0,
    options=(
        OptionFigure(option="reseat_or_clean", parts_cost=2.0, work_h=0.4),
        OptionFigure(option="other_module", parts_cost=85.0, work_h=0.6),
        OptionFigure(option="replace_part", parts_cost=4.0, work_h=1.0),
        OptionFigure(option="replace_socket", parts_cost=9.0, work_h=1.5),
        OptionFigure(option="donor_board", parts_cost=240.0, work_h=1.2),
    ),
)
"""What this shop charges; what it has no figure for stays out."""


class Visit(Model, frozen=True, kw_only=True):
    """A job with its readings, and every further fact of the visit by its kind, in the order they were noted.

    `kept`: the repaired board as one more healthy one, where whoever closed the job left that tick.
    """

    record: JobRecord
    facts: tuple[tuple[str, Model], ...]
    kept: KeptBoard | None = None


class _Clerk:
    """Writes what is no reading: a line each, minutes apart, of one job."""

    def __init__(self, job_id: str, owner: str, by: str, start_ms: int) -> None:
        self.job_id, self.owner, self.by, self.now_ms = job_id, owner, by, start_ms
        self.facts: list[tuple[str, Model]] = []

    def _id(self, kind: str, minutes: float) -> dict[str, Any]:
        self.now_ms += int(minutes * MINUTE_MS)
        return {"id": f"{self.job_id}-{kind}{len(self.facts) + 1:02d}", "job_id": self.job_id}

    def custody(self, event: Any, of: Any = "device", *, after_min: float = 5, **more: Any) -> None:
        whose = self._id("h", after_min)
        self.facts.append(("custody", Custody(
            **whose, of=of, event=event, happened_at_ms=self.now_ms, noted_by=self.by, **more)))

    def consent(self, to: Any, *, given: bool = True, after_min: float = 2) -> None:
        words = next(row.words for row in CONSENTS if row.id == to)
        whose = self._id("a", after_min)
        self.facts.append(("consent", Consent(
            **whose, to=to, given=given, words=words, signed_name=self.owner, strokes=SIGNATURE if given else (),
            given_at_ms=self.now_ms, taken_by=self.by)))

    def check(self, check: str, **more: Any) -> None:
        whose = self._id("p", 1)
        self.facts.append(("power_check", PowerCheck(
            **whose, check=check, done=True, checked_at_ms=self.now_ms, checked_by=self.by, **more)))

    def ready_for_power(self, *, limit_ma: float, expected_ma: float, lows: str = "") -> None:
        """The list before power, from top to bottom."""
        if lows:
            self.check("lows_explained", note=lows)
        self.check("plug_seated")
        self.check("limit_set", supply_mv=4000.0, limit_ma=limit_ma, expected_ma=expected_ma)
        self.check("leads_on_output_off")
        self.check("ramp_from_zero")
        self.check("stands_by", who=self.by)

    def closing(self, intake: Intake, *, after_min: float = 20, **more: Any) -> None:
        whose = self._id("c", after_min)
        self.facts.append(("closing", Closing(
            **whose, what_happened=intake.what_happened, symptoms=intake.symptoms, socket_kind=T10.sockets[0].kind,
            pitch_mm=T10.sockets[0].pitch_mm, closed_at_ms=self.now_ms, closed_by=self.by, **more)))


def _pen_after(record: JobRecord, hours: float) -> Pen:
    """A pen for what is read again, so long after the last reading."""
    last_ms = max(reading.taken_at_ms for reading in record.readings)
    return Pen(
        f"{record.job.id}-after", OfJob(job_id=record.job.id), socket=T10.sockets[0].ref, meter_id=BENCH_METER.id,
        start_ms=last_ms + int(hours * HOUR_MS), by="Ines", air_c=23.0,
    )


def _read_again(record: JobRecord, pen: Pen) -> JobRecord:
    """Made safe once more, and every contact read: as healthy boards read."""
    safe = pen.made_safe(main_mv=5, main_at="C12", led_mv=4, led_at="C88")
    again = pen.sweep(HEALTHY, CLIMBING, stage="after_repair")
    return replace(record, proofs=(*record.proofs, *safe), readings=(*record.readings, *again))


def proven_repair() -> Visit:
    """R210 knocked off with a screwdriver; a new one, and all 34 contacts read as healthy ones again: it is kept so."""
    record = record_of(
        "t10-shield", "T10 of the harbour office: no picture", "gone",
        with_r210_knocked_off(Bench("t10-shield", T10, T10_GOOD, BENCH_METER, start_ms=SHIELD_MS, by="Ines")),
        note="R210 fitted anew.", limit_cost=120.0, limit_work_min=120.0,
    )
    clerk = _Clerk("t10-shield", "the harbour office", "Ines", record.job.opened_at_ms)
    clerk.custody("received", from_whom="the harbour office", after_min=0)
    clerk.consent("power_up")
    clerk.consent("heat_or_chip_work")
    pen = _pen_after(record, 2)
    record = _read_again(record, pen)
    clerk.now_ms = pen.now_ms
    clerk.ready_for_power(limit_ma=500.0, expected_ma=300.0)
    pen.now_ms = clerk.now_ms
    seen = (pen.seen("clean", contacts=("20",), note="R210 sits on both pads"),
            pen.seen("draw_as_healthy", draw_ma=310.0, limit_ma=500.0, note="starts, picture and touch are there"))
    record = replace(record, observations=(*record.observations, *seen))
    clerk.now_ms = pen.now_ms
    clerk.closing(
        record.job.intake,
        was_wrong=(WasWrong(story="part_knocked_off", subject="20", how_known="repaired_and_works"),),
        did=("replace_part",), device="works", data="safe",
        said_before=(SaidBefore(story="part_knocked_off", subject="20", odds=0.9),),
        device_chance_before=0.94, data_chance_before=0.99, touches=35, reading_s=215.0, sweep_s=248.0,
        work_min=75.0, whole_cost=79.0, parts_replaced=("R210",),
    )
    kept = kept_board(record, clerk.now_ms)
    clerk.custody("returned", to_whom="the harbour office", files="not_opened")
    clerk.consent("handed_back")
    return Visit(record=record, facts=tuple(clerk.facts), kept=kept)


def both_are_needed() -> Visit:
    """The screen pulled the fuse down: a new F3 under the same screen would have gone the same way."""
    record = record_of(
        "t10-fuse", "T10 of the bakery: picture but no light", "gone",
        visit_jobs.the_screen_pulled_the_fuse()["t10_screen_pulled_the_fuse_then_plug_ohms"],
        note="F3 and another screen; the one bought online stays unplugged.", limit_cost=180.0, limit_work_min=90.0,
    )
    clerk = _Clerk("t10-fuse", "the baker", "Ines", record.job.opened_at_ms)
    clerk.custody("received", from_whom="the baker", after_min=0)
    clerk.consent("power_up")
    pen = _pen_after(record, 26)
    record = _read_again(record, pen)
    other_screen = pen.rail_ohms("LED_A", "OL", subject="module_plug", stage="after_repair")
    record = replace(record, readings=(*record.readings, other_screen))
    clerk.now_ms = pen.now_ms
    clerk.ready_for_power(limit_ma=600.0, expected_ma=350.0)
    pen.now_ms = clerk.now_ms
    seen = pen.seen("draw_as_healthy", draw_ma=355.0, limit_ma=600.0, note="lit, even over the whole glass")
    looked = pen.seen("clean", contacts=("30", "32"), note="socket and plug clean, no mark")
    record = replace(record, observations=(*record.observations, looked, seen))
    clerk.now_ms = pen.now_ms
    clerk.closing(
        record.job.intake,
        was_wrong=(WasWrong(story="series_open", subject="F3", how_known="measured"),
                   WasWrong(story="elsewhere", subject="module", how_known="measured")),
        did=("replace_part", "other_module"), device="works", data="not_asked",
        said_before=(SaidBefore(story="series_open", subject="F3", odds=0.95),
                     SaidBefore(story="elsewhere", subject="module", odds=0.9, beside=True)),
        device_chance_before=0.93, touches=35, reading_s=212.0, sweep_s=248.0, work_min=60.0, whole_cost=149.0,
        parts_replaced=("F3", "screen"),
    )
    clerk.custody("returned", to_whom="the baker", files="not_opened")
    clerk.custody("returned", "parts", to_whom="the baker", note="the screen bought online, marked: short on LED+")
    clerk.consent("handed_back")
    return Visit(record=record, facts=tuple(clerk.facts))


def stop_data_first() -> Visit:
    """Charged while wet, photos matter: no power, no heat; the device goes on to who works on data."""
    record = record_of(
        "t10-data", "T10 out of the harbour: photos of a first year", "gone",
        visit_jobs.data_first()["t10_charged_while_wet_then_ohms"],
        note="Stopped here. Handed on as it is, dry, battery off.", limit_cost=400.0, storage="sealed_to_chip",
        data_set="on_this_board",
    )
    clerk = _Clerk("t10-data", "the family", "Tomke", record.job.opened_at_ms)
    clerk.custody("received", from_whom="the family", after_min=0)
    clerk.consent("power_up", given=False)
    clerk.now_ms = max(reading.taken_at_ms for reading in record.readings)
    clerk.consent("data_work", after_min=30)
    clerk.custody("handed_on", to_whom="a laboratory for data, by courier, sealed", after_min=60)
    clerk.closing(
        record.job.intake,
        was_wrong=(WasWrong(story="wet", subject="21-24", how_known="seen"),
                   WasWrong(story="rail_short", subject="3V3D", how_known="measured")),
        did=("stop", "specialist"), device="not_tried", data="not_touched",
        said_before=(SaidBefore(story="wet", subject="21-24", odds=0.95),
                     SaidBefore(story="rail_short", subject="3V3D", odds=0.95, beside=True)),
        device_chance_before=0.52, data_chance_before=0.78, touches=37, reading_s=225.0, sweep_s=248.0, work_min=35.0,
        whole_cost=35.0,
    )
    return Visit(record=record, facts=tuple(clerk.facts))


def visits() -> Iterator[Visit]:
    """All three."""
    yield from (proven_repair(), both_are_needed(), stop_data_first())
