"""What a low reading means in ohms, worked by hand beside it."""

import math
import random

import pytest

from server.engine.circuit.anchored import anchored, with_junctions_of
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.junction import at, drop_at
from server.engine.circuit.meaning import Doubts, largest_visible_leak, what_it_means
from server.engine.circuit.parts import (
    GROUND,
    Circuit,
    DiodeTest,
    Junction,
    Part,
    PartState,
    behind_resistance,
    forced_current,
)
from server.engine.circuit.readings import leak_readings, prepared, read
from shared_models.board import SeriesPart
from tests.support.benches import line

CLAMP = Junction(3e-5, 1.5, 6.0)
LINE = Circuit(
    "c",
    (
        Part("probe", "contact", "c", "socket", 0.0),
        Part("D5", "diode", GROUND, "socket", None, Junction(1e-9, 1.5, 1.0)),
        Part("R214", "resistor", "socket", "pin", 33.0),
        Part("U1.lower", "diode", GROUND, "pin", None, CLAMP),
        Part("U1.upper", "diode", "pin", "vdd", None, CLAMP),
        Part("vdd.load", "load", "vdd", GROUND, 330.0),
    ),
)
READY = prepared(LINE, 23)
METER = forced_current(1.02)


def test_forty_five_millivolts_behind_33_ohm() -> None:
    """45 mV at 1.02 mA is 44.1 ohm; R214 (33 ohm) lies between: 11.1 are left.

    By hand, for the 11.1: hand 1 mV, zero 1 mV, gain 0.25 % of 45 mV, touch 0.4 ohm are 1.475 mV; 2 % of the
    current 0.9 mV; 5 % of 33 ohm 1.683 mV; together 2.41 mV, 2.36 ohm; 1.96 of that is 4.6 ohm.
    """
    meaning = what_it_means(READY, METER, "red", 45.0)
    assert meaning.ohm == pytest.approx(44.118, abs=0.001)
    socket, pin = meaning.places
    assert (socket.node, socket.after, socket.beside) == ("socket", ("probe",), ("D5",))
    assert (pin.node, pin.after, pin.beside) == ("pin", ("probe", "R214"), ("U1.lower", "U1.upper"))
    assert socket.ohm == pytest.approx(44.118, abs=0.01)
    assert pin.ohm == pytest.approx(11.118, abs=0.01)
    mv = math.sqrt(1**2 + 1**2 + (0.0025 * 45) ** 2 + (0.4 * 1.02) ** 2 + (0.02 * 45) ** 2 + (0.05 * 33 * 1.02) ** 2)
    assert pin.low_ohm == pytest.approx(11.118 - 1.96 * mv / 1.02, abs=0.05)
    assert pin.high_ohm == pytest.approx(11.118 + 1.96 * mv / 1.02, abs=0.05)
    # ten ohm and less is what a short leaves: at the pin that may be, at the socket not
    assert pin.short_like
    assert not socket.short_like


def test_a_part_known_to_one_per_cent_leaves_a_narrower_rest() -> None:
    wide = what_it_means(READY, METER, "red", 45.0).places[1]
    close = what_it_means(READY, METER, "red", 45.0, Doubts(parts=(("R214", 0.0058),))).places[1]
    assert (close.high_ohm or 0) - (close.low_ohm or 0) < 0.8 * ((wide.high_ohm or 0) - (wide.low_ohm or 0))


def test_what_cannot_be_behind_the_series_part_is_not_said_to_be() -> None:
    """5 mV is 5 ohm: not behind 33."""
    socket, pin = what_it_means(READY, METER, "red", 5.0).places
    assert socket.short_like
    assert not pin.possible
    assert not pin.short_like
    assert pin.ohm == 0.0


def test_a_kilohm_leak_is_found_at_each_place_by_kirchhoff() -> None:
    meaning = what_it_means(READY, METER, "red", 420.0)
    socket, pin = meaning.places
    law = at(CLAMP, 23)
    for place, before_ohm in ((socket, 0.0), (pin, 33.0)):
        assert place.ohm is not None
        if before_ohm:
            there_mv = 420 - 33 * 1.02
            # from what is left at the pin, the junction's current by halving
            low, high = 0.0, 1.02
            for _ in range(100):
                middle = (low + high) / 2
                low, high = (middle, high) if drop_at(law, middle) < there_mv else (low, middle)
            assert there_mv / (1.02 - low) == pytest.approx(place.ohm, rel=1e-3)
        again = read(
            prepared(LINE._replace(parts=(*LINE.parts, Part("dirt", "capacitor", place.node, GROUND))), 23),
            METER, "red", (PartState("dirt", "value", place.ohm),),
        )  # fmt: skip
        assert again.drop_mv == pytest.approx(420.0, abs=0.001)
        assert place.low_ohm is not None
        assert place.high_ohm is not None
        assert place.low_ohm < place.ohm < place.high_ohm


def test_a_healthy_reading_has_no_leak_and_no_upper_limit() -> None:
    healthy = read(READY, METER, "red").drop_mv or 0.0
    for place in what_it_means(READY, METER, "red", healthy - 1, Doubts(healthy_mv=4)).places:
        assert place.high_ohm is None
        assert (place.low_ohm or 0) > 1000
    for place in what_it_means(READY, METER, "red", healthy + 40, Doubts(healthy_mv=4)).places:
        assert (place.ohm, place.low_ohm, place.high_ohm) == (None, None, None)


def test_the_healthy_spread_widens_a_faint_leak_and_not_a_short() -> None:
    faint = [what_it_means(READY, METER, "red", 430.0, Doubts(healthy_mv=sd)).places[0] for sd in (0.0, 4.0)]
    assert (faint[1].low_ohm or 0) < (faint[0].low_ohm or 0)
    short = [what_it_means(READY, METER, "red", 45.0, Doubts(healthy_mv=sd)).places[1] for sd in (0.0, 4.0)]
    assert short[0].high_ohm == pytest.approx(short[1].high_ohm, abs=0.01)


def test_the_interval_holds_the_leak_as_often_as_it_says() -> None:
    """300 readings of drawn leaks at the pin, everything strayed by its own deviation."""
    rng = random.Random(6)
    inside = 0
    for _ in range(300):
        leak_ohm = math.exp(rng.uniform(math.log(5), math.log(1500)))
        series_ohm = 33 * (1 + rng.gauss(0, 0.05))
        current_ma = 1.02 * (1 + rng.gauss(0, 0.02))
        clamp = CLAMP._replace(saturation_ma=CLAMP.saturation_ma * math.exp(rng.gauss(0, 4) / 38.3))
        pin = Circuit(
            "c",
            (
                Part("R214", "resistor", "c", "pin", series_ohm),
                Part("U1.lower", "diode", GROUND, "pin", None, clamp),
                Part("dirt", "capacitor", "pin", GROUND),
            ),
        )
        true_mv = read(
            prepared(pin, 23), forced_current(current_ma), "red", (PartState("dirt", "value", leak_ohm),)
        ).drop_mv
        shown = (true_mv or 0) * (1 + rng.gauss(0, 0.0025)) + rng.gauss(0, 1) + rng.gauss(0, 1)
        shown += rng.gauss(0, 0.4) * 1.02
        place = what_it_means(READY, METER, "red", shown, Doubts(healthy_mv=4)).places[1]
        inside += (place.low_ohm or 0) <= leak_ohm and (place.high_ohm is None or leak_ohm <= place.high_ohm)
    assert 275 < inside < 296


@pytest.mark.parametrize("meter", [METER, forced_current(0.2), behind_resistance(3000, 2200)])
def test_a_leak_that_would_not_show_is_at_three_deviations(meter: DiodeTest) -> None:
    """And brute force agrees: the reading with that leak lies 3 x 4 mV under the healthy one."""
    ohm = largest_visible_leak(READY, meter, "red", 4.0)
    assert ohm is not None
    healthy = read(READY, meter, "red").drop_mv or 0.0
    (there,) = leak_readings(READY, meter, "red", [ohm])
    assert there == pytest.approx(healthy - 12.0, abs=0.02)


def test_less_current_shows_larger_leaks() -> None:
    limits = [largest_visible_leak(READY, forced_current(ma), "red", 4.0) or 0.0 for ma in (0.1, 0.2, 0.5, 1.0, 2.0)]
    assert limits == sorted(limits, reverse=True)
    assert limits[0] > 4 * limits[3]


def test_nothing_would_show_where_the_spread_is_larger_than_the_reading() -> None:
    assert largest_visible_leak(READY, METER, "red", 200.0) is None


def test_behind_a_capacitor_any_reading_is_a_leak() -> None:
    parts = (Part("probe", "contact", "c", "socket", 0.0), Part("C1", "capacitor", "socket", "pin"), LINE.parts[3])
    meaning = what_it_means(prepared(Circuit("c", parts), 23), METER, "red", 300.0)
    assert meaning.healthy_mv is None
    (socket,) = meaning.places
    assert socket.ohm == pytest.approx(300 / 1.02, abs=0.01)
    assert socket.beside == ("C1",)


@pytest.mark.parametrize("branch", [False, True])
def test_a_circuit_that_was_moved_to_a_band_stays_moved(branch: bool) -> None:
    """A leak of 3 kohm under a line that reads 40 mV more than its role says: found again, not a role's."""
    one = line(2, "control", leads_to="U1", path=(SeriesPart(part="R5", ohm=33),))
    circuit = circuit_behind(one)
    assert circuit is not None
    if branch:
        circuit = circuit._replace(parts=(*circuit.parts, Part("pull", "pull", "socket", GROUND, 20_000.0)))
    meter = forced_current(1.0)
    ready = anchored(prepared(circuit, 23.0), meter, "red", 543.0)
    assert ready is not None
    (leaky,) = leak_readings(ready, meter, "red", [3000.0])
    assert leaky is not None
    told = what_it_means(ready, meter, "red", leaky)
    assert told.healthy_mv == pytest.approx(543.0, abs=0.01)
    assert told.places[0].ohm == pytest.approx(3000.0, rel=0.02)


@pytest.mark.parametrize("ideality", [1.1, 1.5, 1.8])
def test_a_leak_is_sized_by_the_n_that_healthy_boards_told(ideality: float) -> None:
    """One junction of that n behind 5 ohm reads 452 mV at 1 mA; with 470 ohm across the contact Kirchhoff by bisection.

    V / 470 + Id = 1 mA and V = 452 + n Vt ln(Id / 1 mA) + 5 (Id - 1 mA), solved here apart from the engine.
    """
    nvt = ideality * 8.617333262e-2 * 296.15  # k T / q at 23 degrees, mV
    low, high = 1e-6, 1.0
    while high - low > 1e-12:
        share = 0.5 * (low + high)
        drop = 452 + nvt * math.log(share) + 5 * (share - 1)
        low, high = (share, high) if drop / 470 + share < 1 else (low, share)
    read_mv = 470 * (1 - low)
    one = line("7", "control", leads_to="U1")
    circuit = circuit_behind(one, None)
    assert circuit is not None
    meter = forced_current(1.0)
    ready = anchored(with_junctions_of(prepared(circuit, 23), nvt, 1.0), meter, "red", 452.0)
    assert ready is not None
    assert what_it_means(ready, meter, "red", read_mv).places[0].ohm == pytest.approx(470, rel=0.01)


def test_how_well_n_is_known_widens_what_is_left_of_a_leak() -> None:
    """A leak leaves the clamp a share s of the current: n Vt |ln s| goes with n, as far as the leak lets it through."""
    sharp, vague = (
        what_it_means(READY, METER, "red", 280.0, Doubts(ideality=share)).places[0] for share in (0.0, 0.15)
    )
    assert vague.ohm == sharp.ohm
    assert (vague.high_ohm or 0) - (vague.low_ohm or 0) > 1.15 * ((sharp.high_ohm or 0) - (sharp.low_ohm or 0))
    short, same = (what_it_means(READY, METER, "red", 20.0, Doubts(ideality=d)).places[0] for d in (0.15, 0.0))
    assert short.high_ohm == pytest.approx(same.high_ohm, rel=1e-5)


@pytest.mark.parametrize("place", [0, 1])
def test_what_a_doubt_about_n_does_to_a_leak_is_what_another_n_would_read(place: int) -> None:
    """The circuit solved with n ten per cent higher, its healthy reading kept: so far the reading with that leak moves.

    At the socket and behind R214, which takes the whole current before the leak shares it.
    """
    meter, share, drop_mv = forced_current(1.02), 0.1, 300.0
    one = Circuit("c", (LINE.parts[0], *LINE.parts[2:4]))
    ready = prepared(one, 23)
    sharp, vague = (what_it_means(ready, meter, "red", drop_mv, Doubts(ideality=d)).places[place] for d in (0.0, share))
    assert sharp.ohm is not None
    leaky = Circuit("c", (*one.parts, Part("dirt", "capacitor", sharp.node, GROUND)))
    state = (PartState("dirt", "value", sharp.ohm),)
    nvt_mv = at(CLAMP, 23).nvt_mv
    other = with_junctions_of(prepared(leaky, 23), nvt_mv * (1 + share), 1.02)
    moved = drop_mv - (read(other, meter, "red", state).drop_mv or 0.0)

    def half_mv(ohm: float | None) -> float:
        told = read(prepared(leaky, 23), meter, "red", (PartState("dirt", "value", ohm),)).drop_mv
        return ((told or 0.0) - drop_mv) / 1.96

    of_n = math.sqrt(half_mv(vague.high_ohm) ** 2 - half_mv(sharp.high_ohm) ** 2)
    assert of_n == pytest.approx(abs(moved), rel=0.1)
