"""Forward drops of simulated diodes from 0 to 50 °C and 0.1 to 2 mA, and what a text book says of them.

Typed values: ngspice 39 on three diode cards, with RELTOL 1e-9 (a and c agree with the closed form by
the Lambert W function to 0.24 uV). Card A is the common public 1N4148 card (IS 2.52 nA, RS 0.568 ohm,
N 1.752, in ten public files, two of them naming OnSemi), card B a second public card with a high-injection
knee IKF of 44.17 mA, card C the simulator's default (IS 1e-14 A, N 1, no RS). About -2 mV/K at constant
current: Sedra and Smith, second-hand.

Proves that `carry` is the simulator's law of current and temperature. B's knee (10 mV at 2 mA) is not
part of that law: it is taken out of B's values by the simulator's own formula before they are compared.
Does not prove that a chip's clamps have these ideality factors; those are assumptions of the engine.
"""

import math

import pytest

from server.engine.constants.sessions import KELVIN, VT_MV_PER_K
from server.engine.meters import carry, slopes
from server.engine.roles import Path

CURRENTS_MA = (0.1, 0.5, 1.0, 2.0)
TEMPERATURES_C = (0.0, 25.0, 50.0)

CARDS = {
    "A": Path(1.752, 0.568, 0.0, True),
    "B": Path(1.836, 0.5664, 0.0, True),
    "C": Path(1.0, 0.0, 0.0, True),
}
KNEE_MA = {"A": math.inf, "B": 44.17, "C": math.inf}
PRINTED_MV = 0.12  # the values are printed to 0.1 mV, on both sides of a comparison
AT_TEMPERATURES: dict[str, dict[float, tuple[float, float, float]]] = {
    "A": {
        0.1: (543.2, 484.6, 425.4), 0.5: (609.8, 557.3, 504.2), 1.0: (638.7, 588.8, 538.3), 2.0: (667.8, 620.5, 572.7),
    },
    "B": {
        0.1: (563.5, 506.8, 449.5), 0.5: (635.8, 585.7, 535.0), 1.0: (668.0, 620.7, 572.9), 2.0: (701.2, 656.9, 612.1),
    },
    "C": {
        0.1: (648.5, 599.5, 550.0), 0.5: (686.4, 640.9, 594.8), 1.0: (702.7, 658.7, 614.1), 2.0: (719.0, 676.5, 633.4),
    },
}  # fmt: skip
AT_27_C = {
    "A": (479.887, 553.045, 584.739, 616.718),
    "B": (502.193, 581.638, 616.926, 653.356),
    "C": (595.562, 637.190, 655.118, 673.046),
}
WITH_33_OHM = {
    "A": (483.2, 569.5, 617.7, 682.7), "B": (505.5, 598.1, 649.9, 719.4), "C": (598.9, 653.7, 688.1, 739.0),
}  # fmt: skip
WITH_1_KOHM = {
    "A": (579.9, 1053.0, 1584.7, 2616.7), "B": (602.2, 1081.6, 1616.9, 2653.4), "C": (695.6, 1137.2, 1655.1, 2673.0),
}  # fmt: skip


def knee_mv(card: str, current_ma: float, celsius: float) -> float:
    """What high injection adds: I = Id / (1 + sqrt(Id / IKF)), with Id the current of the law without it."""
    without = current_ma
    for _ in range(50):
        without = current_ma * (1 + math.sqrt(without / KNEE_MA[card]))
    return CARDS[card].ideality * VT_MV_PER_K * (KELVIN + celsius) * math.log(without / current_ma)


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("from_c", TEMPERATURES_C)
def test_every_cell_is_reached_from_one_reading_at_1_ma(card: str, from_c: float) -> None:
    start = AT_TEMPERATURES[card][1.0][TEMPERATURES_C.index(from_c)] - knee_mv(card, 1.0, from_c)
    for to_ma in CURRENTS_MA:
        for to_c, simulated in zip(TEMPERATURES_C, AT_TEMPERATURES[card][to_ma], strict=True):
            carried = carry(start, CARDS[card], 1.0, from_c, to_ma, to_c) + knee_mv(card, to_ma, to_c)
            assert carried == pytest.approx(simulated, abs=PRINTED_MV), (to_ma, to_c)


@pytest.mark.parametrize("card", CARDS)
def test_currents_at_27_c_alone(card: str) -> None:
    start = AT_27_C[card][2] - knee_mv(card, 1.0, 27.0)
    for to_ma, simulated in zip(CURRENTS_MA, AT_27_C[card], strict=True):
        carried = carry(start, CARDS[card], 1.0, 27.0, to_ma, 27.0) + knee_mv(card, to_ma, 27.0)
        assert carried == pytest.approx(simulated, abs=0.01), to_ma


def test_the_knee_that_the_engine_leaves_out_is_worth_about_ten_millivolts_at_most() -> None:
    assert knee_mv("B", 2.0, 27.0) == pytest.approx(10, abs=0.5)
    assert knee_mv("A", 2.0, 27.0) == 0


@pytest.mark.parametrize(("ohm", "readings"), [(33.0, WITH_33_OHM), (1000.0, WITH_1_KOHM)])
@pytest.mark.parametrize("card", ["A", "C"])
def test_a_resistor_in_series_moves_the_reading_by_its_own_law(
    card: str, ohm: float, readings: dict[str, tuple[float, ...]]
) -> None:
    path = CARDS[card]
    behind = path._replace(series_ohm=path.series_ohm + ohm)
    for to_ma, simulated in zip(CURRENTS_MA, readings[card], strict=True):
        carried = carry(readings[card][2], behind, 1.0, 27.0, to_ma, 27.0)
        assert carried == pytest.approx(simulated, abs=PRINTED_MV), to_ma


@pytest.mark.parametrize(("card", "per_k"), [("A", -2.0104), ("C", -1.7740)])
def test_the_slope_at_27_c_is_the_closed_form(card: str, per_k: float) -> None:
    path = CARDS[card]
    told = slopes(AT_27_C[card][2], path, 1.0, 27.0)[1]
    # computed from the simulated drop less the bulk's share, which the table's figure leaves in
    assert told == pytest.approx(per_k, abs=2e-3 if path.series_ohm else 1e-4)


@pytest.mark.parametrize("card", CARDS)
def test_about_two_millivolts_a_kelvin_as_the_text_book_says(card: str) -> None:
    for at_25 in (AT_TEMPERATURES[card][1.0][1], AT_TEMPERATURES[card][0.5][1]):
        assert slopes(at_25, CARDS[card], 1.0, 25.0)[1] == pytest.approx(-2.0, abs=0.4)


def test_a_decade_and_an_octave_of_current() -> None:
    ideal, public_card = Path(1.0, 0.0, 0.0, True), Path(1.752, 0.0, 0.0, True)
    assert carry(600.0, ideal, 0.1, 27.0, 1.0, 27.0) - 600 == pytest.approx(59.556, abs=1e-3)
    assert carry(600.0, ideal, 1.0, 27.0, 2.0, 27.0) - 600 == pytest.approx(17.928, abs=1e-3)
    assert carry(600.0, public_card, 0.1, 27.0, 1.0, 27.0) - 600 == pytest.approx(104.342, abs=1e-3)


@pytest.mark.parametrize(("celsius", "vt_mv"), [(0.0, 23.53825), (25.0, 25.69258), (27.0, 25.86493), (50.0, 27.84691)])
def test_the_thermal_voltage_is_that_of_codata(celsius: float, vt_mv: float) -> None:
    assert VT_MV_PER_K * (KELVIN + celsius) == pytest.approx(vt_mv, abs=1e-5)
