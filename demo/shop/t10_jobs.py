"""Four jobs on the Quillon T10, as bench sheets: what the technician knew, and what came when asked.

Readings are the columns of `t10_j7.csv`. The base sheet of a job holds only what was known before the
next touch was chosen; `..._then_...` sheets add the answers to it.
"""

from msgspec.structs import replace

from shared_models.job import Intake
from shared_models.reading import Meter, OfJob, Reading, Steadiness
from shared_models.sheet import BenchSheet

from demo.shop.boards.quillon_t10 import J7, T10
from demo.shop.t10_references import CLIMBING, KNOWN_GOOD_READINGS, REFERENCE_BOARDS, REFERENCE_METER
from demo.shop.t10_table import typed
from demo.shop.writing import OL, Pen

BENCH_METER = Meter(
    id="meter-bench", name="bench meter", test_current_ma=1.0, test_current_sd_pct=2.0, open_circuit_mv=2000.0,
    lead_ohm=0.3, sheet_from="two known resistors",
)
BORROWED_METER = Meter(
    id="meter-borrowed", name="borrowed meter", test_current_ma=1.9, test_current_sd_pct=2.0, open_circuit_mv=3000.0,
    sheet_from="two known resistors in the lid of the case",
)
BORROWED_METER_NO_SHEET = Meter(id="meter-borrowed", name="borrowed meter, nothing known")

JOB_1_MS = 1_741_000_000_000
JOB_2_MS = 1_741_090_000_000
JOB_4_MS = 1_741_180_000_000
JOB_5_MS = 1_741_270_000_000


def turned(contact: int) -> str:
    """The number that job 4's technician, who counts from the other end, writes for a drawn contact."""
    return str(35 - contact)


def _pen(job: str, start_ms: int, meter: Meter, air_c: float) -> Pen:
    return Pen(job, OfJob(job_id=job), socket=J7.ref, meter_id=meter.id, start_ms=start_ms, by="Ines", air_c=air_c)


def _sheet(pen: Pen, meter: Meter, **more: object) -> BenchSheet:
    sheet = BenchSheet(
        sheet_id=f"{pen.prefix}-sheet", asked_at_ms=pen.now_ms, board=T10, socket=J7.ref,
        meters=(REFERENCE_METER, meter), reference_boards=REFERENCE_BOARDS, known_good_readings=KNOWN_GOOD_READINGS,
        air_c=pen.air_c, meter_id=meter.id,
    )
    return replace(sheet, **more)


def then(sheet: BenchSheet, name: str, pen: Pen, *answers: Reading) -> BenchSheet:
    """The sheet with answers added to it."""
    return replace(sheet, sheet_id=name, asked_at_ms=pen.now_ms, readings=(*sheet.readings, *answers))


def slipped_in_crooked() -> dict[str, BenchSheet]:
    """Job 1: the screen changed with the battery in, a spark, black since; photos of three years matter."""
    pen = _pen("t10-slipped", JOB_1_MS, BENCH_METER, 23.0)
    climbs: dict[str, Steadiness] = {**CLIMBING, "30": "steady", "32": "steady"}
    sheet = _sheet(
        pen, BENCH_METER,
        intake=Intake(
            what_happened=("battery_in_during_change", "spark_seen", "plug_went_in_crooked", "new_module_fitted"),
            symptoms=("no_picture",), data_matters="yes", opened_by="a friend",
            in_their_words="It slipped in crooked, there was a spark, black since then. Three years of photos are on it.",
        ),
        make_safe=pen.made_safe(main_mv=20, main_at="C12", led_mv=3, led_at="C88"),
        observations=(
            pen.seen("burnt", contacts=("28",), note="dark mark on the spring"),
            pen.seen("burnt", subject="module_plug", contacts=("30",), note="dark mark on the plug"),
        ),
        readings=pen.sweep(typed("job1"), climbs),
    )
    fuse = pen.across("F3", OL)
    with_fuse = then(sheet, "t10-slipped-fuse", pen, fuse)
    far = pen.far_end("R214", "28")
    with_far = then(with_fuse, "t10-slipped-fuse-r214", pen, far)
    rest = (
        pen.drop(28, "61", lead="black"),
        pen.drop(24, "615", lead="black"),
        pen.rail_ohms("3V3D", "410"),
        pen.between(28, 30, OL),
        pen.rail_ohms("3V3D", "240", subject="module_plug"),
        pen.between(30, 32, "0.3", subject="module_plug"),
    )
    return {
        "t10_slipped_in_crooked": replace(sheet, asked_at_ms=fuse.taken_at_ms - 1),
        "t10_slipped_in_crooked_then_f3_open": with_fuse,
        "t10_slipped_in_crooked_then_f3_and_r214": with_far,
        "t10_slipped_in_crooked_then_all_answers": then(with_far, "t10-slipped-all", pen, *rest),
    }


def the_new_socket() -> dict[str, BenchSheet]:
    """Job 2: another shop changed J7; stripes. Every contact within 6 %, 9 and 11 equal and 18 low."""
    pen = _pen("t10-socket", JOB_2_MS, BENCH_METER, 23.0)
    high_led = pen.proof("led_capacitor_proved", measured_mv=21_800, at_place="C88")
    running = pen.made_safe(main_mv=10, main_at="C12")
    pen.now_ms += 210_000  # the divider takes its time: 8 mV after three and a half minutes
    proved = pen.proof("led_capacitor_proved", measured_mv=8, at_place="C88")
    sheet = _sheet(
        pen, BENCH_METER,
        intake=Intake(
            what_happened=("soldered_at_socket",), symptoms=("stripes",), opened_by="another shop",
            in_their_words="Another shop put a new socket in. Since then stripes down the picture.",
        ),
        make_safe=(high_led, *running, proved),
        readings=pen.sweep(typed("job2"), CLIMBING),
    )
    bridge = pen.between(9, 11, "0.3")
    with_bridge = then(sheet, "t10-socket-bridge", pen, bridge)
    black = (pen.drop(9, "571", lead="black"), pen.drop(11, "571", lead="black"))
    not_yet_safe = replace(sheet, sheet_id="t10-socket-charged", make_safe=(*running, high_led), readings=())
    return {
        "t10_new_socket_stripes": replace(sheet, asked_at_ms=bridge.taken_at_ms - 1),
        "t10_new_socket_stripes_led_still_charged": replace(not_yet_safe, asked_at_ms=proved.proved_at_ms - 1),
        "t10_new_socket_stripes_then_9_to_11": with_bridge,
        "t10_new_socket_stripes_then_all_answers": then(with_bridge, "t10-socket-all", pen, *black),
    }


def turned_under_the_scope() -> dict[str, BenchSheet]:
    """Job 4: touch dead after a battery change; the sheet is written from the other end.

    Every reading of a contact, the later ones too, carries the number as its technician counts.
    """
    pen = _pen("t10-turned", JOB_4_MS, BENCH_METER, 23.0)
    climbs: dict[str, Steadiness] = {turned(int(number)): "climbs" for number in CLIMBING}
    sheet = _sheet(
        pen, BENCH_METER,
        intake=Intake(
            what_happened=("pried_with_metal",), symptoms=("touch_dead",),
            in_their_words="New battery; the battery clip was prised up with a screwdriver. Touch is dead since.",
        ),
        make_safe=pen.made_safe(main_mv=10, main_at="C12", led_mv=5, led_at="C88"),
        readings=pen.sweep(typed("job4_as_written"), climbs),
    )
    anchors = tuple(reading for reading in sheet.readings if getattr(reading.touch, "contact", "") in ("4", "16", "31"))
    again = pen.drop(turned(20), OL)
    with_again = then(sheet, "t10-turned-again", pen, again)
    tail = pen.drop(turned(20), "474", place="tail")
    with_tail = then(with_again, "t10-turned-tail", pen, tail)
    bent = pen.seen("bent", contacts=(turned(20),), note="spring bent flat")
    with_all = replace(
        then(with_tail, "t10-turned-all", pen, pen.far_end("R210", "452")), observations=(bent,),
    )
    return {
        "t10_turned_under_the_scope": replace(sheet, asked_at_ms=again.taken_at_ms - 1),
        "t10_turned_under_the_scope_anchors_only": replace(
            sheet, sheet_id="t10-turned-anchors", readings=anchors, asked_at_ms=max(r.taken_at_ms for r in anchors),
        ),
        "t10_turned_under_the_scope_then_spring_again": with_again,
        "t10_turned_under_the_scope_then_tail": with_tail,
        "t10_turned_under_the_scope_then_all_answers": with_all,
    }


def everything_reads_high() -> dict[str, BenchSheet]:
    """Job 5: a healthy board on a boat at 3 C, a borrowed meter of 1.90 mA, and a sick new panel."""
    pen = _pen("t10-cold", JOB_5_MS, BORROWED_METER, 3.0)
    sheet = _sheet(
        pen, BORROWED_METER,
        intake=Intake(
            what_happened=("new_module_fitted",), symptoms=("no_picture",), opened_by="the owner",
            in_their_words="Black since I fitted a screen bought online. The battery was out.",
        ),
        make_safe=pen.made_safe(main_mv=10, main_at="C12", led_mv=2, led_at="C88"),
        readings=pen.sweep(typed("job5"), CLIMBING),
    )
    without = replace(sheet, sheet_id="t10-cold-no-sheet", meters=(REFERENCE_METER, BORROWED_METER_NO_SHEET))
    plug = pen.rail_ohms("3V3D", "2.1", subject="module_plug")
    first = replace(sheet, asked_at_ms=plug.taken_at_ms - 1)
    return {
        "t10_everything_reads_high": first,
        "t10_everything_reads_high_no_meter_sheet": replace(without, asked_at_ms=plug.taken_at_ms - 1),
        "t10_everything_reads_high_then_plug_ohms": then(sheet, "t10-cold-plug", pen, plug),
    }


def all_sheets() -> dict[str, BenchSheet]:
    """Every sheet of the four jobs, by file name without its ending."""
    return {**slipped_in_crooked(), **the_new_socket(), **turned_under_the_scope(), **everything_reads_high()}
