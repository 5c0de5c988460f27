"""Four jobs on the Quillon T10, as bench sheets: what the technician knew, and what came when asked.

Readings are the columns of `t10_j7.csv`. The base sheet of a job holds only what was known before the
next touch was chosen; `..._then_...` sheets add the answers to it.
"""

from msgspec.structs import replace

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.meters import BENCH_METER, BORROWED_METER, BORROWED_METER_NO_SHEET
from demo.shop.references import T10_GOOD, climbing
from demo.shop.table import OL, T10_J7
from shared_models.job import Intake
from shared_models.reading import AtContact, Meter, Steadiness
from shared_models.sheet import BenchSheet

JOB_1_MS = 1_741_000_000_000
JOB_2_MS = 1_741_090_000_000
JOB_4_MS = 1_741_180_000_000
JOB_5_MS = 1_741_270_000_000

CLIMBING = climbing(T10.sockets[0])


def turned(contact: int) -> str:
    """The number that job 4's technician, who counts from the other end, writes for a drawn contact."""
    return str(35 - contact)


def _bench(job: str, start_ms: int, meter: Meter = BENCH_METER, air_c: float = 23.0) -> Bench:
    return Bench(job, T10, T10_GOOD, meter, start_ms=start_ms, by="Ines", air_c=air_c)


def slipped_in_crooked() -> dict[str, BenchSheet]:
    """Job 1: the screen changed with the battery in, a spark, black since; photos of three years matter."""
    bench = _bench("t10-slipped", JOB_1_MS)
    pen = bench.pen
    climbs: dict[str, Steadiness] = {**CLIMBING, "30": "steady", "32": "steady"}
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("battery_in_during_change", "spark_seen", "plug_went_in_crooked", "new_module_fitted"),
            symptoms=("no_picture",), data_matters="yes", opened_by="a friend",
            in_their_words="It slipped in crooked, a spark, black since then. Three years of photos are on it.",
        ),
        make_safe=pen.made_safe(main_mv=20, main_at="C12", led_mv=3, led_at="C88"),
        observations=(
            pen.seen("burnt", contacts=("28",), note="dark mark on the spring"),
            pen.seen("burnt", subject="module_plug", contacts=("30",), note="dark mark on the plug"),
        ),
        readings=pen.sweep(T10_J7.typed("job1"), climbs),
    )
    base = bench.then(sheet, "sheet")
    with_fuse = bench.then(base, "f3", pen.across("F3", OL))
    with_far = bench.then(with_fuse, "f3-r214", pen.far_end("R214", "28"))
    with_all = bench.then(
        with_far, "all",
        pen.drop(28, "61", lead="black"),
        pen.drop(24, "615", lead="black"),
        pen.rail_ohms("3V3D", "410"),
        pen.between(28, 30, OL),
        pen.rail_ohms("3V3D", "240", subject="module_plug"),
        pen.between(30, 32, "0.3", subject="module_plug"),
    )
    return {
        "t10_slipped_in_crooked": base,
        "t10_slipped_in_crooked_then_f3_open": with_fuse,
        "t10_slipped_in_crooked_then_f3_and_r214": with_far,
        "t10_slipped_in_crooked_then_all_answers": with_all,
    }


def the_new_socket() -> dict[str, BenchSheet]:
    """Job 2: another shop changed J7; stripes. Every contact within 6 %, 9 and 11 equal and 18 low."""
    bench = _bench("t10-socket", JOB_2_MS)
    pen = bench.pen
    intake = Intake(
        what_happened=("soldered_at_socket",), symptoms=("stripes",), opened_by="another shop",
        in_their_words="Another shop put a new socket in. Since then stripes down the picture.",
    )
    off = pen.made_safe(main_mv=10, main_at="C12", led_mv=21_800, led_at="C88")
    charged = bench.then(bench.sheet(intake=intake, make_safe=off), "charged")
    pen.now_ms += 200_000  # the divider takes its time: 8 mV after three and a half minutes
    proved = (*off, pen.proof("led_capacitor_proved", measured_mv=8, at_place="C88"))
    readings = pen.sweep(T10_J7.typed("job2"), CLIMBING)
    base = bench.sheet(intake=intake, make_safe=proved, readings=readings)
    with_bridge = bench.then(base, "9-to-11", pen.between(9, 11, "0.3"))
    with_all = bench.then(with_bridge, "all", pen.drop(9, "571", lead="black"), pen.drop(11, "571", lead="black"))
    return {
        "t10_new_socket_stripes": base,
        "t10_new_socket_stripes_led_still_charged": charged,
        "t10_new_socket_stripes_then_9_to_11": with_bridge,
        "t10_new_socket_stripes_then_all_answers": with_all,
    }


def turned_under_the_scope() -> dict[str, BenchSheet]:
    """Job 4: touch dead after a battery change; the sheet is written from the other end.

    Every reading of a contact, the later ones too, carries the number as its technician counts.
    """
    bench = _bench("t10-turned", JOB_4_MS)
    pen = bench.pen
    climbs: dict[str, Steadiness] = {turned(int(number)): "climbs" for number in CLIMBING}
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("pried_with_metal",), symptoms=("touch_dead",),
            in_their_words="New battery; the battery clip was prised up with a screwdriver. Touch is dead since.",
        ),
        make_safe=pen.made_safe(main_mv=10, main_at="C12", led_mv=5, led_at="C88"),
    )
    readings = pen.sweep(T10_J7.typed("job4_as_written"), climbs)
    anchors = [r for r in readings if isinstance(r.touch, AtContact) and r.touch.contact in ("4", "16", "31")]
    base = bench.then(sheet, "sheet", *readings)
    with_again = bench.then(base, "again", pen.drop(turned(20), OL))
    with_tail = bench.then(with_again, "tail", pen.drop(turned(20), "474", place="tail"))
    with_all = bench.then(
        with_tail, "all",
        pen.far_end("R210", "452"), pen.seen("bent", contacts=(turned(20),), note="spring bent flat"),
    )
    return {
        "t10_turned_under_the_scope": base,
        "t10_turned_under_the_scope_anchors_only": bench.then(sheet, "anchors", *anchors),
        "t10_turned_under_the_scope_then_spring_again": with_again,
        "t10_turned_under_the_scope_then_tail": with_tail,
        "t10_turned_under_the_scope_then_all_answers": with_all,
    }


def everything_reads_high() -> dict[str, BenchSheet]:
    """Job 5: a healthy board on a boat at 3 C, a borrowed meter of 1.90 mA, and a sick new panel."""
    bench = _bench("t10-cold", JOB_5_MS, BORROWED_METER, 3.0)
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("new_module_fitted",), symptoms=("no_picture",), opened_by="the owner",
            in_their_words="Black since I fitted a screen bought online. The battery was out.",
        ),
        make_safe=pen.made_safe(main_mv=10, main_at="C12", led_mv=2, led_at="C88"),
        readings=pen.sweep(T10_J7.typed("job5"), CLIMBING),
    )
    base = bench.then(sheet, "sheet")
    without = replace(base, sheet_id="t10-cold-no-sheet", meters=(*T10_GOOD.meters, BORROWED_METER_NO_SHEET))
    return {
        "t10_everything_reads_high": base,
        "t10_everything_reads_high_no_meter_sheet": without,
        "t10_everything_reads_high_then_plug_ohms": bench.then(
            base, "plug", pen.rail_ohms("3V3D", "2.1", subject="module_plug"),
        ),
    }


def all_sheets() -> dict[str, BenchSheet]:
    """Every sheet of the four jobs, by file name without its ending."""
    return {**slipped_in_crooked(), **the_new_socket(), **turned_under_the_scope(), **everything_reads_high()}
