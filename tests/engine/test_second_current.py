"""One contact at two currents: the board's own spread cancels and a leak stands out, by hand and by drawing."""

import math
import random

import pytest

from server.engine.circuit.parts import GROUND, Circuit, Junction, Part, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.circuit.second_current import At, Behind, PairDoubts, expected_second, leak_from_pair

BEHIND = Behind(series_ohm=6.0, ideality=1.5, ideality_sd=0.02, series_sd_ohm=2.0, celsius=25.0)
NVT = 1.5 * 0.08617333 * 298.15


def contact(current_ma: float, leak_ohm: float | None, saturation_ma: float, series_ohm: float = 6.0) -> float:
    """What such a contact reads, by the circuit solve (IS at 25 °C stands for the board)."""
    clamp = Junction(saturation_ma, 1.5, series_ohm)
    parts = (Part("clamp", "diode", GROUND, "c", None, clamp), Part("dirt", "capacitor", "c", GROUND))
    states = () if leak_ohm is None else (PartState("dirt", "value", leak_ohm),)
    drop = read(prepared(Circuit("c", parts), 25.0), forced_current(current_ma), "red", states).drop_mv
    assert drop is not None
    return drop


def test_by_hand() -> None:
    """396.3 mV at 1 mA and 274.8 mV at 0.1 mA are a leak of 5 kohm.

    n Vt = 38.54 mV. The leak takes 396.3 / 5000 = 0.0793 mA and leaves 0.9207; 274.8 / 5000 = 0.0550 leaves 0.0450.
    38.54 ln(0.9207 / 0.0450) + 6 (0.9207 - 0.0450) = 116.3 + 5.3 = 121.6: 396.3 - 274.8 = 121.5. A healthy pair
    would be 38.54 ln 10 + 6 x 0.9 = 94.1 apart, so 274.8 is 27.4 mV further down than healthy.
    """
    told = leak_from_pair(At(396.3, 1.0), At(274.8, 0.1), BEHIND)
    assert told.ohm == pytest.approx(5000, rel=0.01)
    assert told.more_mv == pytest.approx(27.4, abs=0.1)
    by_hand = math.hypot(math.hypot(1.0, 0.4), math.hypot(1.0, 0.04))
    by_hand = math.hypot(by_hand, NVT * 0.02, 0.02 * 0.08617333 * 298.15 * math.log(10), 2.0 * 0.9)
    assert told.sd_mv == pytest.approx(by_hand, abs=0.02)
    assert told.low_ohm is not None
    assert told.high_ohm is not None
    assert told.low_ohm < 5000 < told.high_ohm


@pytest.mark.parametrize("leak_ohm", [300.0, 1e3, 5e3, 2e4])
@pytest.mark.parametrize("board_mv", [-30.0, 0.0, 25.0])
def test_the_boards_own_drop_cancels(leak_ohm: float, board_mv: float) -> None:
    saturation = 3e-5 * math.exp(-board_mv / NVT)
    first, second = (At(contact(ma, leak_ohm, saturation), ma) for ma in (1.0, 0.1))
    assert leak_from_pair(first, second, BEHIND).ohm == pytest.approx(leak_ohm, rel=1e-4)
    assert leak_from_pair(second, first, BEHIND) == leak_from_pair(first, second, BEHIND), "whichever came first"
    assert expected_second(first, 0.1, BEHIND, leak_ohm) == pytest.approx(second.drop_mv, abs=1e-3)
    assert expected_second(second, 1.0, BEHIND, leak_ohm) == pytest.approx(first.drop_mv, abs=0.05)
    healthy = expected_second(first, 0.1, BEHIND, None)
    assert healthy is not None
    assert healthy > second.drop_mv


def test_a_healthy_pair_has_no_leak_and_says_down_to_where() -> None:
    first, second = (At(contact(ma, None, 3e-5), ma) for ma in (1.0, 0.1))
    told = leak_from_pair(first, second, BEHIND)
    assert told.ohm is None or told.ohm > 1e6
    assert told.high_ohm is None
    assert told.low_ohm is not None
    assert 10_000 < told.low_ohm < 40_000
    # what it says would have shown at 95 %: a leak of that size moves the second reading by 1.96 deviations more
    moved = (expected_second(first, 0.1, BEHIND, None) or 0) - (expected_second(first, 0.1, BEHIND, told.low_ohm) or 0)
    assert moved == pytest.approx(1.96 * told.sd_mv, rel=0.15)


def test_a_pair_that_speaks_the_other_way_is_no_leak() -> None:
    told = leak_from_pair(At(400.0, 1.0), At(320.0, 0.1), BEHIND)
    assert told.more_mv < 0
    assert (told.ohm, told.low_ohm, told.high_ohm) == (None, None, None)


def test_a_leak_that_one_reading_leaves_no_current_for_predicts_nothing() -> None:
    assert expected_second(At(400.0, 1.0), 0.1, BEHIND, 300.0) is None


def test_a_closer_current_says_less() -> None:
    first = At(contact(1.0, 5e3, 3e-5), 1.0)
    wide, close = (leak_from_pair(first, At(contact(ma, 5e3, 3e-5), ma), BEHIND) for ma in (0.1, 0.5))
    assert wide.high_ohm is not None
    assert close.more_mv < 0.2 * wide.more_mv
    assert close.high_ohm is None or close.high_ohm > wide.high_ohm


def test_the_interval_holds_the_leak_as_often_as_it_says() -> None:
    """400 boards 30 mV apart, everything strayed by its own deviation: the leak inside in 95 of 100."""
    rng = random.Random(12)
    doubts = PairDoubts()
    inside = 0
    for _ in range(400):
        leak_ohm = math.exp(rng.uniform(math.log(500), math.log(20000)))
        n, series = 1.5 + rng.gauss(0, 0.02), max(0.0, 6 + rng.gauss(0, 2))
        clamp = Junction(3e-5 * math.exp(rng.gauss(0, 30) / NVT), n, series)
        parts = (Part("clamp", "diode", GROUND, "c", None, clamp), Part("dirt", "capacitor", "c", GROUND))
        shown = []
        for ma in (1.0, 0.1 * (1 + rng.gauss(0, doubts.ratio))):
            ready = prepared(Circuit("c", parts), 25.0)
            drop = read(ready, forced_current(ma), "red", (PartState("dirt", "value", leak_ohm),)).drop_mv or 0
            shown.append(drop + rng.gauss(0, doubts.noise_mv) + rng.gauss(0, doubts.touch_ohm) * ma)
        told = leak_from_pair(At(shown[0], 1.0), At(shown[1], 0.1), BEHIND, doubts)
        inside += (told.low_ohm is None or told.low_ohm <= leak_ohm) and (
            told.high_ohm is None or leak_ohm <= told.high_ohm
        )
    assert 368 <= inside <= 392


def test_the_interval_is_not_wide_for_nothing() -> None:
    told = leak_from_pair(At(contact(1.0, 2e3, 3e-5), 1.0), At(contact(0.1, 2e3, 3e-5), 0.1), BEHIND)
    assert told.high_ohm is not None
    assert told.low_ohm is not None
    assert told.high_ohm / told.low_ohm < 1.35
