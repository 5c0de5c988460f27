"""With black on ground, healthy boards read at other currents say what this meter should read: the real simulator.

Source: ngspice 39 itself. A line's upper clamp leads into a rail without power, which is a load of some hundreds of
ohms; the lines and boards differ as drawn below. Each healthy board is read with a meter of its own current, the job
with another. Common practice, no source: that a line reads more with black on ground, and by how much.

Proves that the load behind the clamp is learnt from the readings. Does not prove that a rail is a resistor.
"""

import random

import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from server.engine.healthy_bands import healthy_bands
from shared_models.opinion import Opinion
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, board_of, line, references, sheet_of, touched
from tests.support.ngspice import node_millivolts

LINES = ("1", "2", "3", "4", "5", "6")
CURRENTS_MA = (0.3, 0.5, 0.8, 1.2, 1.6, 2.0)
JOB_MA = 0.4
IDEALITY = 1.35


def circuit(saturation_ma: float, load_ohm: float, current_ma: float, extra: str = "") -> str:
    """A line with 22 ohm, its upper clamp, and the load of the rail behind; `extra` for what is wrong with it."""
    return (
        f"I{{i}} 0 a{{i}} DC {current_ma}m\n{extra}\nR{{i}} a{{i}} k{{i}} 22\nD{{i}} k{{i}} r{{i}} M{{i}}\n"
        f"L{{i}} r{{i}} 0 {load_ohm}\n.model M{{i}} D(IS={saturation_ma}m N={IDEALITY} RS=5)"
    ).replace("L{i}", "RL{i}")


@pytest.fixture(scope="module")
def sheet(ngspice_path: str) -> BenchSheet:
    rng = random.Random(7)
    asked: list[str] = []
    for current_ma in (*CURRENTS_MA, JOB_MA):
        load_ohm, lean = rng.gauss(330, 6), rng.gauss(0, 0.1)
        asked += [circuit(2.4e-6 * 2.718 ** (lean + rng.gauss(0, 0.05)), load_ohm, current_ma) for _ in LINES]
    read = [round(mv) for mv in node_millivolts(ngspice_path, asked)]
    boards: list[dict[str, str | float]] = [
        {contact: read[n + place] for place, contact in enumerate(LINES)} for n in range(0, len(read), len(LINES))
    ]
    meters = [
        replace(BENCH_METER, id=f"m{n}", test_current_ma=current_ma) for n, current_ma in enumerate(CURRENTS_MA)
    ]
    known = references(boards[:-1], lead_on_ground="black")
    readings = tuple(
        replace(one, meter_id=f"m{n // len(LINES)}") for n, one in enumerate(known["known_good_readings"])
    )
    board = board_of([line(n, "bus", leads_to="U1") for n in LINES])
    return sheet_of(
        board,
        touched(boards[-1], lead_on_ground="black"),
        known={**known, "known_good_readings": readings},
        meters=(replace(BENCH_METER, test_current_ma=JOB_MA), *meters),
    )


def odd(opinion: Opinion) -> list[str]:
    return [one.contact for one in opinion.contacts if one.odds.expected < 0.5]


def test_a_healthy_board_is_healthy_at_another_current(sheet: BenchSheet) -> None:
    assert odd(form_opinion(sheet)) == []


def test_the_band_lies_where_the_simulator_reads_within_ten_per_cent(sheet: BenchSheet) -> None:
    read = {one.touch.contact: float(one.as_typed.removesuffix(" mV")) for one in sheet.readings}  # type: ignore[union-attr]
    for one in healthy_bands(sheet).contacts:
        assert one.black.low_mv is not None
        assert one.black.high_mv is not None
        assert one.black.centre_mv == pytest.approx(read[one.contact], abs=15)
        assert one.black.high_mv - one.black.low_mv < 130


def test_a_leak_shows_more_with_black_on_ground(sheet: BenchSheet, ngspice_path: str) -> None:
    """1 kohm at the contact: the load behind the clamp makes the contact read higher, so the leak takes more."""
    (leaky,) = node_millivolts(ngspice_path, [circuit(2.4e-6, 330, JOB_MA, "Rx{i} a{i} 0 1000")])
    readings = tuple(
        replace(one, as_typed=f"{leaky:.0f} mV") if one.touch.contact == "3" else one  # type: ignore[union-attr]
        for one in sheet.readings
    )
    meter: Meter = sheet.meters[0]
    assert meter.test_current_ma == JOB_MA
    again = touched([("3", round(leaky))], prefix="again", lead_on_ground="black", start_ms=1_745_000_900_000)
    assert odd(form_opinion(replace(sheet, readings=(*readings, *again)))) == ["3"]


def test_a_clamp_with_no_load_behind_it_is_learnt_as_well(ngspice_path: str) -> None:
    """The role's usual load is hundreds of ohms; here there is none, and the readings say so."""
    rng = random.Random(8)
    asked = [
        circuit(2.4e-8 * 2.718 ** rng.gauss(0, 0.1), 0.1, current_ma) for current_ma in (*CURRENTS_MA, JOB_MA)
    ]
    read = [round(mv) for mv in node_millivolts(ngspice_path, asked)]
    meters = [
        replace(BENCH_METER, id=f"m{n}", test_current_ma=current_ma) for n, current_ma in enumerate(CURRENTS_MA)
    ]
    known = references([{"1": mv} for mv in read[:-1]], lead_on_ground="black")
    readings = tuple(replace(one, meter_id=f"m{n}") for n, one in enumerate(known["known_good_readings"]))
    alone = sheet_of(
        board_of([line(1, "led_minus", leads_to="U3")]),
        known={**known, "known_good_readings": readings},
        meters=(replace(BENCH_METER, test_current_ma=JOB_MA), *meters),
    )
    band = healthy_bands(alone).contacts[0].black
    assert band.centre_mv == pytest.approx(read[-1], abs=25)
