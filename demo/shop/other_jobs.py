"""Sheets of other sockets and other situations, written by hand from what such contacts usually read.

Lanes behind capacitors without any healthy board, a ZIF with one torn contact, a core rail that reads low and
is well, a short charging input, a meter of 0.3 mA, and sheets that test not knowing.
"""

from demo.shop.bench import Bench
from demo.shop.boards import L14, P1, S4, T10, V2
from demo.shop.meters import BENCH_METER, SMALL_METER, UNKNOWN_METER
from demo.shop.references import P1_GOOD, S4_GOOD, T10_GOOD, V2_GOOD, KnownGood, climbing
from demo.shop.table import L14_J501, OL, P1_J1, S4_J3, T10_J7_MORE, V2_J2
from shared_models.job import Intake
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet

DAY_MS = 86_400_000
FIRST_JOB_MS = 1_741_360_000_000


def notebook_without_light() -> dict[str, BenchSheet]:
    """L14: tweezers slipped beside the socket; a picture but no light. D522, behind R522, is short."""
    bench = Bench("l14-nolight", L14, KnownGood(), BENCH_METER, start_ms=FIRST_JOB_MS, by="Tomke")
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("pried_with_metal",), symptoms=("no_light",), data_matters="no", opened_by="the owner",
            in_their_words="I lifted the screen plug with tweezers. With a torch I can see the picture.",
        ),
        make_safe=pen.made_safe(main_mv=35, main_at="C7"),
        observations=(pen.seen("torch_shows_picture"),),
        readings=pen.sweep(L14_J501.typed("no_light"), climbing(L14.sockets[0])),
    )
    base = bench.then(sheet, "sheet")
    again = bench.then(base, "again", pen.drop(6, "38"))
    return {
        "l14_no_references_no_light": base,
        "l14_no_references_no_light_then_again_and_far_end": bench.then(again, "far", pen.far_end("R522", "5")),
    }


def notebook_all_healthy() -> dict[str, BenchSheet]:
    """L14: nothing is wrong with the board, and there is no healthy one to compare it with."""
    bench = Bench("l14-healthy", L14, KnownGood(), BENCH_METER, start_ms=FIRST_JOB_MS + DAY_MS, by="Tomke")
    sheet = bench.sheet(
        intake=Intake(symptoms=("no_picture",), what_happened=("new_module_fitted",), in_their_words="Black screen."),
        make_safe=bench.pen.made_safe(main_mv=12, main_at="C7"),
        readings=bench.pen.sweep(L14_J501.typed("all_healthy"), climbing(L14.sockets[0])),
    )
    return {"l14_no_references_all_healthy": bench.then(sheet, "sheet")}


def torn_in_the_zif() -> dict[str, BenchSheet]:
    """V2: the latch was forced; the spring of contact 9 (D1P) no longer reaches its tail."""
    bench = Bench("v2-torn", V2, V2_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + 2 * DAY_MS, by="Tomke")
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("pried_with_metal",), symptoms=("no_picture",), data_matters="yes",
            in_their_words="The latch of the camera cable was stiff. No picture since the cable was changed.",
        ),
        make_safe=pen.made_safe(main_mv=4, main_at="C3"),
        readings=pen.sweep(V2_J2.typed("torn"), climbing(V2.sockets[0])),
    )
    base = bench.then(sheet, "sheet")
    again = bench.then(base, "again", pen.drop(9, OL))
    return {
        "v2_zif_one_torn": base,
        "v2_zif_one_torn_then_again": again,
        "v2_zif_one_torn_then_tail": bench.then(again, "tail", pen.drop(9, "334", place="tail")),
    }


def honestly_low() -> dict[str, BenchSheet]:
    """S4: a core rail reads 3 mV, as it does on five healthy boards. The power card is what is sick."""
    bench = Bench("s4-core", S4, S4_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + 3 * DAY_MS, by="Tomke")
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("never_opened",), symptoms=("no_power",), data_matters="yes",
            in_their_words="Nothing lights up since Monday. The calibration is in it.",
        ),
        make_safe=pen.made_safe(main_mv=2, main_at="C40"),
        readings=pen.sweep(S4_J3.typed("honest_low"), climbing(S4.sockets[0])),
    )
    base = bench.then(sheet, "sheet")
    ohms = (pen.rail_ohms("VCORE", "3.0"), pen.rail_ohms("VMEM", "119"))
    return {
        "s4_core_honestly_low": base,
        "s4_core_honestly_low_then_rail_ohms": bench.then(base, "ohms", *ohms),
    }


def short_charging_input() -> dict[str, BenchSheet]:
    """P1: VBUS is short at all four contacts, by its clamp D1; one healthy board was read."""
    bench = Bench("p1-vbus", P1, P1_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + 4 * DAY_MS, by="Tomke")
    sheet = bench.sheet(
        intake=Intake(
            symptoms=("no_charge",), data_matters="no", in_their_words="It no longer charges, with any charger.",
        ),
        make_safe=bench.pen.made_safe(main_mv=0, main_at="C60"),
        readings=bench.pen.sweep(P1_J1.typed("no_charge"), climbing(P1.sockets[0])),
    )
    return {"p1_usb_c_vbus_short": bench.then(sheet, "sheet")}


def _t10(job: str, column: str, meter: Meter, day: int, air_c: float | None = 23.0) -> BenchSheet:
    bench = Bench(job, T10, T10_GOOD, meter, start_ms=FIRST_JOB_MS + day * DAY_MS, by="Ines", air_c=air_c)
    sheet = bench.sheet(
        intake=Intake(symptoms=("no_picture",)),
        make_safe=bench.pen.made_safe(main_mv=8, main_at="C12", led_mv=6, led_at="C88"),
        readings=bench.pen.sweep(T10_J7_MORE.typed(column), climbing(T10.sockets[0])),
    )
    return bench.then(sheet, "sheet")


def other_situations_on_the_t10() -> dict[str, BenchSheet]:
    """A meter of 0.3 mA with and without a leak, a healthy board read by half, and three low readings alone."""
    low = _t10("t10-small", "low_current", SMALL_METER, 5)
    leak = _t10("t10-leak", "low_current_leak", SMALL_METER, 6)
    half = _t10("t10-half", "half_read", BENCH_METER, 7)
    three = _t10("t10-three", "three_low", UNKNOWN_METER, 8, air_c=None)
    return {
        "t10_low_current_meter_all_healthy": low,
        "t10_low_current_meter_one_leak": leak,
        "t10_all_healthy_half_read": half,
        "t10_three_low_readings_only": three,
    }


def all_sheets() -> dict[str, BenchSheet]:
    """Every sheet of this module, by file name without its ending."""
    return {
        **notebook_without_light(), **notebook_all_healthy(), **torn_in_the_zif(), **honestly_low(),
        **short_charging_input(), **other_situations_on_the_t10(),
    }
