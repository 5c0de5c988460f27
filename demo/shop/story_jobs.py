"""One sheet for each story that is not told by the four jobs: what a technician would have written down.

Readings are those of healthy boards but for what the story changes; that is typed from what such contacts
read on a bench, never from an opinion.
"""

from collections.abc import Mapping

from demo.shop.bench import Bench
from demo.shop.boards import T10, V2
from demo.shop.meters import BENCH_METER
from demo.shop.references import T10_GOOD, V2_GOOD, climbing
from demo.shop.table import OL, T10_J7, V2_J2
from shared_models.job import Intake, WhatHappened
from shared_models.reading import AtTestPoint, Steadiness
from shared_models.sheet import BenchSheet

DAY_MS = 86_400_000
FIRST_JOB_MS = 1_742_060_000_000

HEALTHY = T10_J7.typed("ref_mean")
CLIMBING = climbing(T10.sockets[0])

ON_THE_OTHER_LEAD = {
    "backlight": OL, "sink": OL, "rail": "905", "pair": "640", "control": "715", "bus": "702", "pwm": "760",
}
"""What a kind of contact of the T10 reads with black on ground: rails after a long climb, LED lines not at all."""

AT_1_6_MA = {
    "3": "357", "4": "412", "5": "358", "6": "412", "8": "338", "9": "357", "11": "357", "12": "489", "14": "540",
    "15": "353", "17": "353", "20": "506", "21": "357", "22": "505", "23": "357", "24": "474", "26": "533",
    "27": "357", "28": "524", "29": "355", "30": "506", "32": "506", "33": "555", "34": "555",
}
"""Healthy contacts under 1.6 mA: about 18 mV up, 20 more where 33 ohm lie in series, 13 where 22 do."""

OTHER_MAKER = {"12": "513", "14": "545", "20": "520", "22": "518", "24": "497", "28": "530"}
"""The slow lines of a processor of another maker: 42 to 46 mV up together."""


def _bench(place: int) -> Bench:
    return Bench(f"t10-story{place}", T10, T10_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + place * DAY_MS, by="Tomke")


def _read(
    bench: Bench, changed: Mapping[str, str], *said: WhatHappened, words: str,
    steady: Mapping[str, Steadiness] | None = None,
) -> BenchSheet:
    """A T10 made safe and read once round; what is changed is steady unless it says otherwise."""
    pen = bench.pen
    safe = pen.made_safe(main_mv=4, main_at="C12", led_mv=3, led_at="C88")
    noted: dict[str, Steadiness] = {**CLIMBING, **dict.fromkeys((one for one in changed if one in CLIMBING), "steady")}
    return bench.sheet(
        intake=Intake(what_happened=said, symptoms=("no_picture",), in_their_words=words),
        make_safe=safe,
        readings=pen.sweep({**HEALTHY, **changed}, {**noted, **(steady or {})}),
    )


def tilted() -> dict[str, BenchSheet]:
    """Dragged in from the high end with the battery in: a run of eight hurt, whatever it leads to."""
    bench = _bench(1)
    changed = {"34": "40", "33": "160", "32": "3", "30": "4", "28": "90", "29": "210", "27": "300"}
    sheet = _read(
        bench, changed, "battery_in_during_change", "plug_went_in_crooked", "spark_seen",
        words="I held it at an angle to find the socket. It sparked at one end.",
    )
    return {"t10_plug_tilted": bench.then(sheet, "sheet", bench.pen.seen("burnt", contacts=("34",)))}


def tool_across() -> dict[str, BenchSheet]:
    """Tweezers across 28 and 30 while lit: one line dead, an arc mark on both, nothing beside."""
    bench = _bench(2)
    sheet = _read(
        bench, {"28": "12"}, "battery_in_during_change", "spark_seen",
        words="I pushed the plug down with tweezers while it was on.",
    )
    pen = bench.pen
    answers = (pen.seen("burnt", contacts=("28", "30"), note="arc mark across two springs"), pen.drop(28, "12"))
    return {"t10_tool_across_two": bench.then(sheet, "sheet", *answers)}


def knocked_off() -> dict[str, BenchSheet]:
    """A resistor of SCL gone beside the socket: OL twice, empty pads."""
    return {"t10_part_knocked_off": with_r210_knocked_off(_bench(3))}


def with_r210_knocked_off(bench: Bench) -> BenchSheet:
    """The same on any T10's bench."""
    sheet = _read(bench, {"20": OL}, "pried_with_metal", words="I lifted the shield with a screwdriver.")
    pen = bench.pen
    answers = (pen.drop(20, OL), pen.seen("missing", part="R210", note="two empty pads"))
    return bench.then(sheet, "sheet", *answers)


def bridged_across() -> dict[str, BenchSheet]:
    """Solder across the rows, 11 to 12: both read the same, 0.4 ohm from one to the other."""
    bench = _bench(4)
    sheet = _read(
        bench, {"11": "316", "12": "316"}, "soldered_at_socket", words="I resoldered the socket myself.",
    )
    pen = bench.pen
    base = bench.then(sheet, "sheet", pen.drop(11, "316"), pen.drop(12, "316"))
    return {
        "t10_bridge_across_rows": base,
        "t10_bridge_across_rows_then_11_to_12": bench.then(base, "11-12", pen.between(11, 12, "0.4")),
    }


def wet_corner() -> dict[str, BenchSheet]:
    """Salt water in one corner: neighbours of different chips leaky and unequal, 16 no longer OL."""
    bench = _bench(5)
    changed = {"11": "290", "12": "380", "14": "430", "15": "300", "16": "900"}
    sheet = _read(bench, changed, "liquid", words="A wave came over it. It was dried in the sun.")
    return {"t10_wet_corner": bench.then(sheet, "sheet", bench.pen.seen("wet", contacts=("12", "14")))}


def swapped_leads() -> dict[str, BenchSheet]:
    """The whole sheet read with black on ground and written as red."""
    bench = _bench(6)
    kinds = {row["contact"]: row["role"] for row in T10_J7.rows}
    changed = {
        contact: ON_THE_OTHER_LEAD[kinds[contact]]
        for contact, drop in HEALTHY.items()
        if drop != OL and kinds[contact] in ON_THE_OTHER_LEAD
    }
    return {"t10_leads_swapped": bench.then(_read(bench, changed, words="Black."), "sheet")}


def another_meter() -> dict[str, BenchSheet]:
    """A healthy board; the meter's fuse and battery were changed, and it now forces 1.6 mA, not 1.00."""
    bench = _bench(7)
    base = bench.then(_read(bench, AT_1_6_MA, "new_module_fitted", words="Black after a new screen."), "sheet")
    shown = bench.pen.reading(AtTestPoint(name="known resistor 470 ohm"), "752", "drop", "mV", lead_on_ground=None)
    return {
        "t10_meter_differs": base,
        "t10_meter_differs_then_known_resistor": bench.then(base, "resistor", shown),
    }


def another_revision() -> dict[str, BenchSheet]:
    """A healthy board with a processor of another maker: its slow lines stand 42 to 46 mV up together."""
    bench = _bench(8)
    sheet = _read(bench, OTHER_MAKER, words="Black. It is a later model, says the label.")
    pen = bench.pen
    again = [pen.drop(contact, drop) for contact, drop in OTHER_MAKER.items()]
    return {"t10_other_revision": bench.then(sheet, "sheet", *again)}


def voltage_left() -> dict[str, BenchSheet]:
    """The main rail came back: a dock was plugged in again after the proof. One rail reads below zero."""
    bench = _bench(9)
    sheet = _read(
        bench, {"4": "-35", "6": "-34", "8": "270"}, words="Black.", steady={"4": "falls", "6": "falls", "8": "falls"},
    )
    base = bench.then(sheet, "sheet")
    volts = bench.pen.reading(AtTestPoint(name="C12"), "0.43", "volts", "V")
    return {"t10_still_powered": base, "t10_still_powered_then_volts": bench.then(base, "volts", volts)}


def cracked() -> dict[str, BenchSheet]:
    """Dropped: two lines of U1 come and go, and T_RST comes back while the chip is pressed."""
    bench = _bench(10)
    sheet = _read(bench, {"24": OL, "12": OL}, "dropped", words="It fell down the companionway.")
    pen = bench.pen
    answers = (
        pen.drop(24, OL), pen.drop(12, OL),
        pen.seen("changes_when_pressed", part="U1", contacts=("24",), note="comes back under a finger"),
    )
    return {"t10_cracked_joint": bench.then(sheet, "sheet", *answers)}


def flipped_cable() -> dict[str, BenchSheet]:
    """V2: every contact healthy, the camera cable in with its contacts on the wrong side."""
    bench = Bench("v2-flipped", V2, V2_GOOD, BENCH_METER, start_ms=FIRST_JOB_MS + 11 * DAY_MS, by="Tomke")
    pen = bench.pen
    sheet = bench.sheet(
        intake=Intake(what_happened=("new_module_fitted",), symptoms=("no_picture",), in_their_words="New camera."),
        make_safe=pen.made_safe(main_mv=3, main_at="C3"),
        readings=pen.sweep(V2_J2.typed("ref_mean"), climbing(V2.sockets[0])),
    )
    return {"v2_cable_flipped": bench.then(sheet, "sheet")}


def no_one_cause() -> dict[str, BenchSheet]:
    """Worked on before: a lane low, a sink nearly short, SCL open and a reset line high, far apart on two chips."""
    bench = _bench(12)
    changed = {"9": "152", "20": OL, "33": "41", "24": "606"}
    sheet = _read(bench, changed, "soldered_at_socket", words="A cousin had it open, twice.")
    again = [bench.pen.drop(contact, drop) for contact, drop in changed.items()]
    return {"t10_separate_faults": bench.then(sheet, "sheet", *again)}


def all_sheets() -> dict[str, BenchSheet]:
    """Every sheet of this module, by file name without its ending."""
    return {
        **tilted(), **tool_across(), **knocked_off(), **bridged_across(), **wet_corner(), **swapped_leads(),
        **another_meter(), **another_revision(), **voltage_left(), **cracked(), **flipped_cable(), **no_one_cause(),
    }
