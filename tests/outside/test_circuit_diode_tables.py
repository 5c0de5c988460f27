"""Junctions in the circuit solve against printed values of three diode models.

Sources: the public SPICE card of the 1N4148 (A: IS=2.52n RS=0.568 N=1.752) and a second maker's card without its
IKF (here: A and C only), the SPICE default diode (C: IS=1e-14 N=1); values by ngspice 39 at 27 °C and at 0, 25,
50 °C, confirmed with the Lambert W form. Parallel resistors: the same. The clamp into a rail: the injection
example of 20 V onto a pin with a diode IS=1e-14 N=1 RS=1 to a rail, by ngspice 39. Tempco of about -2 mV/K at
1 mA: Sedra and Smith, Microelectronic Circuits. The scipy and pvlib rows are computed here, now.

Proves law, temperature and resistances. Does not prove what a board's chips are made of.
"""

import math

import numpy as np
import pytest
from scipy.special import lambertw

from server.engine.circuit.junction import at, carried, drop_at, lambert_w_of_exp
from server.engine.circuit.parts import GROUND, Circuit, Junction, Part, behind_resistance, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.constants.sessions import BANDGAP_MV, KELVIN, VT_MV_PER_K, XTI

A = Junction(2.52e-6, 1.752, 0.568)
C = Junction(1e-11, 1.0, 0.0)
MODELS = {"A": A, "C": C}
CURRENTS_MA = (0.1, 0.5, 1.0, 2.0)


def shown(
    junction: Junction, current_ma: float, celsius: float, ohm: float = 0.0, beside_ohm: float | None = None
) -> float:
    """A diode to ground behind `ohm`, something beside both, read with black on ground by a meter up to 5 V."""
    parts = [Part("r", "resistor", "c", "k", ohm), Part("d", "diode", "k", GROUND, None, junction)]
    if beside_ohm is not None:
        parts.append(Part("beside", "resistor", "c", GROUND, beside_ohm))
    ready = prepared(Circuit("c", tuple(parts)), celsius)
    meter = forced_current(current_ma, 5000)
    short, nodal = read(ready, meter, "black"), read(ready, meter, "black", short_way=False)
    assert short.drop_mv is not None
    assert nodal.drop_mv == pytest.approx(short.drop_mv, abs=1e-3)
    return short.drop_mv


@pytest.mark.parametrize(
    ("model", "ohm", "printed"),
    [
        ("A", 0, (479.9, 553.0, 584.7, 616.7)),
        ("A", 33, (483.2, 569.5, 617.7, 682.7)),
        ("A", 1000, (579.9, 1053.0, 1584.7, 2616.7)),
        ("C", 0, (595.6, 637.2, 655.1, 673.0)),
        ("C", 33, (598.9, 653.7, 688.1, 739.0)),
        ("C", 1000, (695.6, 1137.2, 1655.1, 2673.0)),
    ],
)
def test_drops_at_27_degrees(model: str, ohm: float, printed: tuple[float, ...]) -> None:
    for current_ma, mv in zip(CURRENTS_MA, printed, strict=True):
        assert shown(MODELS[model], current_ma, 27, ohm) == pytest.approx(mv, abs=0.06)


@pytest.mark.parametrize(
    ("model", "current_ma", "printed"),
    [
        ("A", 0.1, (543.2, 484.6, 425.4)),
        ("A", 0.5, (609.8, 557.3, 504.2)),
        ("A", 1.0, (638.7, 588.8, 538.3)),
        ("A", 2.0, (667.8, 620.5, 572.7)),
        ("C", 0.1, (648.5, 599.5, 550.0)),
        ("C", 0.5, (686.4, 640.9, 594.8)),
        ("C", 1.0, (702.7, 658.7, 614.1)),
        ("C", 2.0, (719.0, 676.5, 633.4)),
    ],
)
def test_drops_at_0_25_and_50_degrees(model: str, current_ma: float, printed: tuple[float, ...]) -> None:
    for celsius, mv in zip((0, 25, 50), printed, strict=True):
        assert shown(MODELS[model], current_ma, celsius) == pytest.approx(mv, abs=0.06)
    assert -2.4 < (printed[2] - printed[0]) / 50 < -1.6, "about -2 mV/K"
    # and a reading is carried from one temperature and current to another along the same table
    warm = carried(printed[0], MODELS[model].ideality, MODELS[model].series_ohm, current_ma, 0, current_ma, 50)
    assert warm == pytest.approx(printed[2], abs=0.15)


@pytest.mark.parametrize(("junction", "slope"), [(A, -2.0104), (C, -1.7740)])
def test_slope_of_the_law_at_its_nominal_temperature(junction: Junction, slope: float) -> None:
    there = drop_at(at(junction, 27.001), 1.0) - drop_at(at(junction, 26.999), 1.0)
    assert there / 0.002 == pytest.approx(slope, abs=3e-4)
    volts = drop_at(at(junction, 27), 1.0) - junction.series_ohm
    closed = (volts - BANDGAP_MV - XTI * VT_MV_PER_K * 300.15) / 300.15
    assert there / 0.002 == pytest.approx(closed, abs=3e-4)


@pytest.mark.parametrize(
    ("model", "ohm", "table"),
    [
        (
            "A",
            0,
            {10: 10.0, 33: 33.0, 100: 100.0, 330: 328.8, 1e3: 548.4, 3.3e3: 575.9, 1e4: 582.0, 1e5: 584.5, 1e6: 584.7},
        ),
        ("A", 33, {100: 100.0, 1e3: 561.5, 1e4: 612.8, 1e5: 617.3}),
        ("C", 0, {100: 100.0, 330: 330.0, 1e3: 629.4, 1e4: 653.4, 1e5: 654.9}),
    ],
)
def test_resistors_beside_a_junction(model: str, ohm: float, table: dict[float, float]) -> None:
    for beside_ohm, mv in table.items():
        assert shown(MODELS[model], 1.0, 27, ohm, beside_ohm) == pytest.approx(mv, abs=0.06)


def test_a_meter_that_is_a_voltage_behind_a_resistance() -> None:
    bare = Junction(2.52e-6, 1.752, 0.0)
    ready = prepared(Circuit("c", (Part("d", "diode", "c", GROUND, None, bare),)), 27)
    drop = read(ready, behind_resistance(3000, 2200), "black").drop_mv
    assert drop == pytest.approx(588.334, abs=0.01)
    assert (3000 - (drop or 0.0)) / 2200 == pytest.approx(1.096212, abs=1e-5)


@pytest.mark.parametrize(
    ("ohm", "pin_v", "through_ma"),
    [
        (100, 4.24355, 157.564),
        (470, 4.08010, 33.8721),
        (805, 4.05217, 19.8110),
        (1000, 4.04272, 15.9573),
        (1073.33, 4.03981, 14.8698),
        (10000, 3.96893, 1.60311),
        (16100, 3.95602, 0.99652),
    ],
)
def test_twenty_volts_onto_a_pin_whose_clamp_leads_to_a_stiff_rail(ohm: float, pin_v: float, through_ma: float) -> None:
    clamp = Junction(1e-11, 1.0, 1.0)
    ready = prepared(Circuit("pin", (Part("clamp", "diode", "pin", GROUND, None, clamp),)), 27)
    above = read(ready, behind_resistance(20000 - 3300, ohm, 20000), "black").drop_mv
    assert above is not None
    assert (3300 + above) / 1000 == pytest.approx(pin_v, rel=1e-3)
    assert (16700 - above) / ohm == pytest.approx(through_ma, rel=1e-3)


@pytest.mark.parametrize(
    ("ohm", "load_ohm", "pin_v"), [(100, 330, 15.534), (1000, 330, 5.518), (1000, 3300, 15.511), (10000, 3300, 5.463)]
)
def test_twenty_volts_onto_a_pin_whose_clamp_leads_to_a_rail_that_gives_way(
    ohm: float, load_ohm: float, pin_v: float
) -> None:
    clamp = Junction(1e-11, 1.0, 1.0)
    parts = (Part("clamp", "diode", "pin", "vdd", None, clamp), Part("load", "load", "vdd", GROUND, load_ohm))
    for short_way in (True, False):
        drop = read(
            prepared(Circuit("pin", parts), 27), behind_resistance(20000, ohm, 20000), "black", short_way=short_way
        ).drop_mv
        assert drop is not None
        assert drop / 1000 == pytest.approx(pin_v, abs=0.001)


@pytest.mark.parametrize("x", [-30.0, -2.0, -0.1, 0.0, 0.5, 1.0, 2.0, 3.7, 20.0, 200.0, 700.0])
def test_lambert_w_is_scipys(x: float) -> None:
    assert lambert_w_of_exp(x) == pytest.approx(lambertw(math.exp(x)).real, rel=1e-12)


@pytest.mark.parametrize("x", [800.0, 1e4, 1e9])
def test_lambert_w_where_scipys_argument_overflows(x: float) -> None:
    w = lambert_w_of_exp(x)
    assert w + math.log(w) == pytest.approx(x, rel=1e-14)
    with pytest.raises(OverflowError):
        math.exp(x)


@pytest.mark.parametrize("beside_ohm", [100.0, 330.0, 1000.0, 10000.0, 100000.0])
@pytest.mark.parametrize("celsius", [-10.0, 27.0, 50.0])
def test_the_lambert_form_of_a_junction_beside_a_resistor(celsius: float, beside_ohm: float) -> None:
    law = at(A, celsius)
    for current_ma in CURRENTS_MA:
        whole = law.series_ohm + beside_ohm
        x = ((current_ma + law.saturation_ma) * beside_ohm + law.saturation_ma * law.series_ohm) / law.nvt_mv
        if x > 700:
            continue  # scipy's argument overflows
        u = law.nvt_mv / whole * lambertw(law.saturation_ma * whole / law.nvt_mv * math.exp(x)).real
        volts = (current_ma - (u - law.saturation_ma)) * beside_ohm
        assert shown(A, current_ma, celsius, 0, beside_ohm) == pytest.approx(volts, abs=1e-3)


@pytest.mark.parametrize("junction", [A, C])
@pytest.mark.parametrize("current_ma", CURRENTS_MA)
def test_pvlibs_single_diode_is_the_same_junction(junction: Junction, current_ma: float) -> None:
    law = at(junction, 27)

    # imported here: it takes seconds, and pytest would wait for it in each worker before the first test
    import pvlib

    def pvlib_mv(series_ohm: float, shunt_ohm: float) -> float:
        volts = pvlib.pvsystem.v_from_i(
            current=-current_ma / 1000, photocurrent=0, saturation_current=law.saturation_ma / 1000,
            resistance_series=series_ohm, resistance_shunt=shunt_ohm, nNsVth=law.nvt_mv / 1000, method="lambertw",
        )  # fmt: skip
        return float(np.asarray(volts).item()) * 1000

    assert shown(junction, current_ma, 27) == pytest.approx(pvlib_mv(junction.series_ohm, math.inf), abs=1e-3)
    bare = junction._replace(series_ohm=0.0)
    for beside_ohm in (100, 1000, 10000):  # pvlib's shunt lies across the junction itself
        assert shown(bare, current_ma, 27, 0, beside_ohm) == pytest.approx(pvlib_mv(0, beside_ohm), abs=1e-2)


def test_decade_and_octave_of_current() -> None:
    law = at(C, 27)
    assert drop_at(law, 1.0) - drop_at(law, 0.1) == pytest.approx(59.556, abs=1e-3)
    assert drop_at(law, 2.0) - drop_at(law, 1.0) == pytest.approx(17.928, abs=1e-3)
    steep = at(Junction(2.52e-6, 1.752, 0.0), 27)
    assert drop_at(steep, 10.0) - drop_at(steep, 1.0) == pytest.approx(104.342, abs=1e-3)


def test_thermal_voltage() -> None:
    for celsius, vt_mv in ((0, 23.53825), (25, 25.69258), (27, 25.86493), (50, 27.84691)):
        assert at(C, celsius).nvt_mv == pytest.approx(vt_mv, abs=1e-5)
        assert (KELVIN + celsius) * VT_MV_PER_K == pytest.approx(vt_mv, abs=1e-5)
