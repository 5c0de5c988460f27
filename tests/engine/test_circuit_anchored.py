"""A circuit that reads what the band says, what each fault reads on it, and leaks to and fro."""

import math

import pytest

from server.engine.circuit.anchored import LeakScale, anchored, fault_readings, shifted
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.parts import GROUND, Circuit, DiodeTest, PartState, behind_resistance, forced_current
from server.engine.circuit.parts import Part as CircuitPart
from server.engine.circuit.readings import Prepared, prepared, read
from server.engine.errors import SheetError
from server.engine.faulted import View, leak_ohm
from shared_models.board import BoardVersion, ChipPin, Contact, Part, Pull, SeriesPart, ShuntPart
from shared_models.reading import LeadOnGround

METER = forced_current(1.02)


def line() -> Prepared:
    path = (ShuntPart(part="C1"), SeriesPart(part="R214", ohm=33.0), ShuntPart(part="D5"), ChipPin(part="U1", pin="A4"))
    board = BoardVersion(id="b", device="d", board="b", sockets=(), parts=(Part(ref="D5", kind="esd_array"),))
    circuit = circuit_behind(Contact(number="1", role="bus", path=path), board)
    assert circuit is not None
    return prepared(circuit, 23)


@pytest.mark.parametrize(("lead", "healthy_mv"), [("red", 380.0), ("red", 560.0), ("black", 640.0), ("black", 1300.0)])
@pytest.mark.parametrize("meter", [METER, behind_resistance(3000, 2200)])
def test_an_anchored_circuit_reads_what_the_band_says(lead: LeadOnGround, healthy_mv: float, meter: DiodeTest) -> None:
    found = anchored(line(), meter, lead, healthy_mv)
    assert found is not None
    assert read(found, meter, lead).drop_mv == pytest.approx(healthy_mv, abs=0.01)
    assert read(found, meter, lead, short_way=False).drop_mv == pytest.approx(healthy_mv, abs=0.02)


def test_with_black_on_ground_the_load_takes_the_difference_and_the_clamps_stay() -> None:
    found = anchored(line(), METER, "black", 900.0)
    assert found is not None
    assert read(found, METER, "red").drop_mv == pytest.approx(read(line(), METER, "red").drop_mv, abs=1e-6)


def test_a_circuit_that_cannot_read_so_is_not_bent_into_it() -> None:
    assert anchored(line(), METER, "red", 1900.0) is None
    resistors = prepared(Circuit("c", (CircuitPart("R1", "resistor", "c", GROUND, 50.0),)), 23)
    assert anchored(resistors, METER, "red", 400.0) is None
    with pytest.raises(SheetError, match="OL has nothing to anchor"):
        anchored(line(), METER, "red", math.inf)


def test_a_shift_moves_the_healthy_reading_by_as_much() -> None:
    before = read(line(), METER, "red").drop_mv or 0.0
    assert read(shifted(line(), 25.0), METER, "red").drop_mv == pytest.approx(before + 25.0, abs=0.02)


def test_each_parts_faults_by_hand() -> None:
    found = {(one.state.name, one.state.state, one.state.ohm): one for one in fault_readings(line(), METER, "red")}
    healthy = read(line(), METER, "red").drop_mv or 0.0
    assert found["C1", "short", None].drop_mv == pytest.approx(0.6 * 1.02, abs=0.01)
    assert found["U1.A4.lower", "short", None].drop_mv == pytest.approx(33.6 * 1.02, abs=0.01)
    assert found["R214", "open", None].drop_mv is None
    assert found["R214", "open", None].shift_mv is None
    assert found["R214", "short", None].shift_mv == pytest.approx(-33 * 1.02, abs=0.01)
    # two clamps side by side, each of half the current: one of them open costs n Vt ln 2 and a little of RS
    one_clamp = found["D5", "open", None]
    assert one_clamp.shift_mv == pytest.approx(1.25 * 0.08617333 * 296.15 * math.log(2) + 5 * 0.51, abs=0.1)
    assert found["C1", "value", 20000.0].drop_mv == pytest.approx(healthy, abs=3)
    assert ("C1", "open", None) not in found, "an open capacitor is what a healthy one looks like"


@pytest.mark.parametrize("lead", ["red", "black"])
@pytest.mark.parametrize("meter", [METER, behind_resistance(3000, 2200)])
def test_leaks_go_to_and_fro(lead: LeadOnGround, meter: DiodeTest) -> None:
    scale = LeakScale(line(), meter, lead)
    leaks = [30.0, 300.0, 3000.0, 15000.0]
    for ohm, drop in zip(leaks, scale.drops_at(leaks), strict=True):
        assert drop is not None
        assert scale.ohm_at(drop) == pytest.approx(ohm, rel=2e-3)
    assert scale.ohm_at(0.0) == 0.0
    assert scale.ohm_at((read(line(), meter, lead).drop_mv or 0.0) + 5) is None


def test_the_scale_and_the_first_forms_leaks_agree_where_both_hold() -> None:
    """One junction behind its resistance. The first form leaves out the +1, which is nothing at 450 mV."""
    contact = Contact(number="1", role="usb_pair", path=(SeriesPart(part="R1", ohm=33.0), ChipPin(part="U1", pin="1")))
    circuit = circuit_behind(contact)
    assert circuit is not None
    ready = anchored(prepared(circuit, 23), METER, "red", 452.0)
    assert ready is not None
    n_vt = 1.25 * 0.08617333 * 296.15
    view = View(452.0, 4.0, 5.0, 0.0, 0.0, n_vt, 38.6, 1.02, 2000.0, (), ())
    scale = LeakScale(ready, METER, "red")
    for drop in (60.0, 200.0, 400.0, 440.0):
        assert scale.ohm_at(drop) == pytest.approx(leak_ohm(drop, view), rel=0.003)


def test_a_pull_up_to_a_shared_rail_is_a_way_round_the_clamp() -> None:
    path = (Pull(ohm=300.0, to_net="VIO", part="R9"), ChipPin(part="U1", pin="1"))
    circuit = circuit_behind(Contact(number="1", role="bus", path=path))
    assert circuit is not None
    ready = prepared(circuit, 23)
    found = {(one.state.name, one.state.state): one for one in fault_readings(ready, METER, "red")}
    healthy = read(ready, METER, "red").drop_mv or 0.0
    assert (found["R9", "open"].drop_mv or 0) > healthy
    assert (found["VIO.load", "short"].drop_mv or 0) < healthy
    assert read(
        ready, METER, "red", (PartState("R9", "open"), PartState("VIO.load", "short"))
    ).drop_mv == pytest.approx(found["R9", "open"].drop_mv, abs=0.02)
