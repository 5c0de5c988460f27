"""Two more jobs of the shop that are told to their end (`visits.py`), as bench sheets.

Readings are those of healthy boards but for what the story changes, typed from what such contacts read on a
bench, never from an opinion.
"""

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.meters import BENCH_METER
from demo.shop.references import T10_GOOD, climbing
from demo.shop.table import OL, T10_J7
from shared_models.job import Intake
from shared_models.reading import Steadiness
from shared_models.sheet import BenchSheet

DAY_MS = 86_400_000
FIRST_JOB_MS = 1_742_060_000_000 - 8 * DAY_MS

HEALTHY = T10_J7.typed("ref_mean")
CLIMBING = climbing(T10.sockets[0])
NO_CLIMB: dict[str, Steadiness] = {"30": "steady", "32": "steady"}


def the_screen_pulled_the_fuse() -> dict[str, BenchSheet]:
    """A screen that is short on its LED line took F3 with it: a new fuse alone would go the same way."""
    bench = Bench("t10-fuse", T10, T10_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS, by="Ines")
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("new_module_fitted",), symptoms=("no_light",), data_matters="no", opened_by="the owner",
            in_their_words="New screen, battery out. It lit for a second, then dark. With a torch I see the picture.",
        ),
        make_safe=pen.made_safe(main_mv=6, main_at="C12", led_mv=4, led_at="C88"),
        observations=(pen.seen("torch_shows_picture"),),
        readings=pen.sweep({**HEALTHY, "30": "531", "32": "529"}, {**CLIMBING, **NO_CLIMB}),
    )
    base = bench.then(sheet, "sheet")
    with_fuse = bench.then(base, "f3", pen.drop(30, "531", steadiness="steady"), pen.across("F3", OL))
    return {
        "t10_screen_pulled_the_fuse": base,
        "t10_screen_pulled_the_fuse_then_f3": with_fuse,
        "t10_screen_pulled_the_fuse_then_plug_ohms": bench.then(
            with_fuse, "plug", pen.rail_ohms("LED_A", "1.4", subject="module_plug"),
        ),
    }


def data_first() -> dict[str, BenchSheet]:
    """Charged while wet: 3V3D is short, the processor's touch lines leak; photos matter. No further power here."""
    bench = Bench("t10-data", T10, T10_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + DAY_MS, by="Tomke")
    pen = bench.pen
    changed = {"4": "1", "6": "1", "20": "190", "22": "150", "24": "120", "28": "170"}
    steady: dict[str, Steadiness] = dict.fromkeys((one for one in changed if one in CLIMBING), "steady")
    sheet = bench.sheet(
        intake=Intake(
            what_happened=("liquid",), symptoms=("no_power",), data_matters="yes", opened_by="nobody before us",
            in_their_words="It fell into the harbour and was put on the charger. Our daughter's first year is on it.",
        ),
        make_safe=pen.made_safe(main_mv=3, main_at="C12", led_mv=2, led_at="C88"),
        observations=(pen.seen("wet", contacts=("20", "22", "24"), note="white crust under the row"),),
        readings=pen.sweep({**HEALTHY, **changed}, {**CLIMBING, **steady}),
    )
    base = bench.then(sheet, "sheet")
    again = bench.then(
        base, "again", pen.drop(4, "1", steadiness="steady"), pen.drop(28, "170"), pen.drop(24, "120"),
        pen.rail_ohms("3V3D", "0.6"), pen.far_end("R214", "168"), pen.far_end("R210", "188"),
    )
    return {"t10_charged_while_wet": base, "t10_charged_while_wet_then_ohms": again}


def all_sheets() -> dict[str, BenchSheet]:
    """Every sheet of this module, by file name without its ending."""
    return {**the_screen_pulled_the_fuse(), **data_first()}
