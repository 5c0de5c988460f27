"""What a reading says of each state is a proper distribution: numbers and OL together make one.

A state whose density were larger than it may be would win against the others by bookkeeping. Leaks are held
against a brute-force solve of many leaks, one by one.
"""

import math
from collections.abc import Callable
from itertools import pairwise

import pytest

from server.engine.circuit.junction import Law, nominal, saturation_for
from server.engine.circuit.parts import GROUND, Circuit, Part, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.constants.readings import ADDED_HIGH_OHM, ADDED_LOW_OHM, HIGH_OL, LEAK_HIGH_OHM, LEAK_LOW_OHM
from server.engine.drops import (
    BAND,
    HIGH,
    LEAK,
    LEAK_BEHIND,
    LOST,
    MEETS,
    OPEN,
    RESIDUAL,
    SHORT,
    SHORT_BEHIND,
    STATE_WORDS,
    failed_touch,
    state_densities,
    steadiness_odds,
)
from server.engine.faulted import View

LANE = View(338, 4.5, 6, 0.001, 0.0, 31.9, 5, 1.0, 2000, ((338, 4.5), (0.5, 1.2)), ((313, 5.0), None))
VIEWS = {
    "lane at 1 mA": LANE,
    "control behind 33 ohm at 1.9 mA": LANE._replace(
        loc=591, scale=8, series_ohm=38, current_ma=1.9, limit_mv=3000, before_ohm=33, before_sd_ohm=1.7
    ),
    "lane at 0.3 mA": LANE._replace(loc=296, scale=6, current_ma=0.3),
    "by its role alone": LANE._replace(loc=470, scale=60, df=4),
    "behind 1 k on a 3 V meter": LANE._replace(loc=1446, scale=12, series_ohm=1005, limit_mv=3000),
    "rail that climbs": LANE._replace(loc=394, scale=11, climb_odds=0.98),
}
CAPACITOR = LANE._replace(loc=660, scale=25, ol_odds=0.99, junction_mv=25.5)


def integral(density: Callable[[float], float], low: float, high: float, steps: int = 8_000) -> float:
    """By the midpoint rule."""
    width = (high - low) / steps
    return width * math.fsum(density(low + (n + 0.5) * width) for n in range(steps))


def total(state: int, view: View) -> float:
    """All numbers the meter can show, and OL."""
    return integral(lambda x: state_densities(x, view)[state], -300, view.limit_mv) + state_densities(None, view)[state]


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize(
    "state", [BAND, SHORT, LEAK, OPEN, HIGH, LOST, SHORT_BEHIND, LEAK_BEHIND, MEETS, MEETS + 1]
)
def test_numbers_and_ol_together_make_one(name: str, state: int) -> None:
    # OPEN and a bridge to what shows OL allow any number at all, thinly: that is their two per cent
    assert total(state, VIEWS[name]) == pytest.approx(1, abs=0.035 if state in (OPEN, MEETS + 1) else 0.01)


@pytest.mark.parametrize("state", [SHORT, LEAK, OPEN])
def test_where_a_healthy_one_shows_ol_they_make_one_as_well(state: int) -> None:
    assert total(state, CAPACITOR) == pytest.approx(1, abs=0.025)


def test_nothing_is_less_likely_than_impossible() -> None:
    for view in (*VIEWS.values(), CAPACITOR):
        for x in (None, -50.0, -1.0, 0.0, 0.1, 3.0, 61.0, view.loc - 5, view.loc, view.loc + 8, view.loc + 500, 1999.0):
            assert all(density >= 0 for density in state_densities(x, view))
            assert failed_touch(x, view) >= 0


@pytest.mark.parametrize("name", VIEWS)
def test_a_failed_touch_gives_something(name: str) -> None:
    view = VIEWS[name]
    whole = failed_touch(None, view) + integral(lambda x: failed_touch(x, view), -300, view.limit_mv)
    assert whole == pytest.approx(1, abs=0.02)


# ---- a leak, one by one ---------------------------------------------------------------------------------


def reads_with_leak(ohm: float, view: View) -> float:
    """The reading of one leak across one junction with its resistor in series, by halving the voltage."""
    saturation_ma = view.current_ma * math.exp(-(view.loc - view.series_ohm * view.current_ma) / view.junction_mv)

    def through_junction(at_mv: float) -> float:
        low, high = 0.0, view.current_ma  # the junction's own current, by halving too
        for _ in range(40):
            middle = 0.5 * (low + high)
            needs = view.junction_mv * math.log(middle / saturation_ma) + view.series_ohm * middle
            low, high = (middle, high) if needs < at_mv else (low, middle)
        return low

    low, high = 0.0, view.loc
    for _ in range(40):
        middle = 0.5 * (low + high)
        taken = middle / ohm + through_junction(middle)
        low, high = (middle, high) if taken < view.current_ma else (low, middle)
    return low


def below(x: float, at: list[float], sd: float) -> float:
    """The share of readings below x, each with the scatter of a Normal."""
    return math.fsum(0.5 * math.erfc((one - x) / (sd * math.sqrt(2))) for one in at) / len(at)


def test_a_leak_behind_the_resistor_is_what_the_nodal_solve_reads() -> None:
    """Many leaks from the chip's side of the resistor to ground, each by the circuit, not by its short way."""
    view = VIEWS["control behind 33 ohm at 1.9 mA"]._replace(before_sd_ohm=0.0)
    inner_ohm = view.series_ohm - view.before_ohm
    saturation_ma = saturation_for(view.loc - view.series_ohm * view.current_ma, view.junction_mv, view.current_ma)
    law = Law(saturation_ma, view.junction_mv, inner_ohm)
    line = Circuit(
        "c",
        (
            Part("r", "resistor", "c", "chip", view.before_ohm),
            Part("leak", "capacitor", "chip", GROUND),
            Part("clamp", "diode", GROUND, "chip", None, nominal(law, 23.0)),
        ),
    )
    ready, meter = prepared(line, 23.0), forced_current(view.current_ma, view.limit_mv)
    low, high = math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM)
    leaks = [math.exp(low + (n + 0.5) * (high - low) / 600) for n in range(600)]
    shown = [read(ready, meter, "red", (PartState("leak", "value", ohm),), short_way=False) for ohm in leaks]
    many = [one.drop_mv for one in shown if one.drop_mv is not None]
    assert len(many) == len(leaks)
    for left, right in pairwise([view.loc * n / 25 for n in range(28)]):
        told = integral(lambda x: state_densities(x, view)[LEAK_BEHIND], left, right, 60)
        share = below(right, many, view.scale) - below(left, many, view.scale)
        assert told == pytest.approx(share, abs=0.006), left


def test_an_added_resistance_reads_higher_by_the_whole_current_through_it() -> None:
    """Many resistances one by one, each with the band's scatter."""
    view = LANE
    low, high = math.log(ADDED_LOW_OHM), math.log(ADDED_HIGH_OHM)
    many = [view.loc + view.current_ma * math.exp(low + (n + 0.5) * (high - low) / 600) for n in range(600)]
    for left, right in pairwise([view.loc + 20 * n for n in range(-2, 30)]):
        told = integral(lambda x: state_densities(x, view)[HIGH], left, right, 100)
        share = (1 - HIGH_OL) * (below(right, many, view.scale) - below(left, many, view.scale))
        assert told == pytest.approx(share, abs=0.006), left


@pytest.mark.parametrize("name", [name for name in VIEWS if name != "rail that climbs"])
def test_the_leak_is_what_many_leaks_solved_one_by_one_read(name: str) -> None:
    view = VIEWS[name]
    low, high = math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM)
    many = [reads_with_leak(math.exp(low + (n + 0.5) * (high - low) / 600), view) for n in range(600)]
    edges = [view.loc * n / 25 for n in range(28)]
    for left, right in pairwise(edges):
        told = integral(lambda x: state_densities(x, view)[LEAK], left, right, 60)
        assert told == pytest.approx(below(right, many, view.scale) - below(left, many, view.scale), abs=0.006), left


def test_a_leak_that_moves_the_reading_by_a_millivolt_earns_nearly_the_healthy_density() -> None:
    row = state_densities(LANE.loc - 1, LANE)
    assert 0.2 < row[LEAK] / row[BAND] < 1.5
    deep = state_densities(LANE.loc - 60, LANE)
    assert deep[LEAK] / deep[BAND] > 50


def test_voltage_left_on_a_rail_takes_itself_off_the_number() -> None:
    """Most often a little and positive, 60 mV and 90 mV to either side: 60 below the healthy number is its middle."""
    below_it, above_it = (state_densities(LANE.loc + step, LANE)[RESIDUAL] for step in (-60, 60))
    assert below_it / above_it == pytest.approx(math.exp(0.5 * 120**2 / (90**2 + LANE.scale**2)), rel=1e-6)


def test_with_its_part_open_a_line_that_branches_reads_what_its_circuit_says_within_three_tenths() -> None:
    view = LANE._replace(cut_mv=30.0)
    at_cut, further = (state_densities(view.loc + 30 + step, view)[LOST] for step in (0, 20))
    assert at_cut / further == pytest.approx(math.exp(0.5 * 20**2 / (9**2 + view.scale**2)), rel=1e-6)


# ---- steadiness --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("climb_odds", [0.0, 0.02, 0.5, 0.98, 1.0])
def test_steadiness_odds_are_probabilities_and_climbing_or_not_is_all_there_is(climb_odds: float) -> None:
    view, states = LANE._replace(climb_odds=climb_odds), len(STATE_WORDS) + len(LANE.meets) + 1
    for noted in ("steady", "climbs", "falls", "jumps"):
        assert all(0 <= odds <= 1 for odds in steadiness_odds(noted, view, states))
    steady, climbs = (steadiness_odds(noted, view, states) for noted in ("steady", "climbs"))
    assert [a + b for a, b in zip(steady, climbs, strict=True)] == pytest.approx([1] * states)
    assert steadiness_odds(None, view, states) == [1.0] * states


def test_a_missing_climb_speaks_for_lost_capacitors_and_against_health() -> None:
    odds = steadiness_odds("steady", VIEWS["rail that climbs"], MEETS)
    assert odds[LOST] > 4 * odds[BAND]
    assert odds[SHORT] > 4 * odds[BAND]
    climbing = steadiness_odds("climbs", VIEWS["rail that climbs"], MEETS)
    assert climbing[BAND] > 4 * climbing[LOST]
    # a leak or a resistance added in line slows the climb as often as not; it goes on behind either
    for state in (LEAK, LEAK_BEHIND, HIGH):
        assert climbing[state] == pytest.approx(0.98 * 0.5), state
