"""The same contact at a second current: what the pair says that neither reading says alone.

The circuit is solved here by halving an interval, and densities are integrated on a fine grid, both written out
apart from the engine's own steps.
"""

import math
import random

import pytest
from msgspec.structs import replace

from server.engine.accept import Notes, accept_readings
from server.engine.door import form_opinion
from server.engine.drops import BAND, LEAK, OPEN, SHORT
from server.engine.faulted import View
from server.engine.inference import judge
from server.engine.prepared import prepare
from server.engine.second_current import (
    Second,
    leak_found,
    leaked_mv,
    leaks_given,
    second_factors,
    smallest_leak_shown,
)
from server.engine.student import StudentT
from shared_models.opinion import Opinion
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, board_of, line, nine_boards, sheet_of, touched

N_VT, OHM = 32.0, 6.0
VIEW = View(400.0, 4.0, 12.0, 0.01, 0.0, N_VT, OHM, 1.0, 2000.0, (), ())
STEP = N_VT * math.log(0.2) + OHM * (0.2 - 1.0)
"""What a healthy contact reads less at 0.2 mA than at 1 mA."""
LOW = Meter(id="low", name="the small one", test_current_ma=0.2, test_current_sd_pct=2.0, open_circuit_mv=2000.0)


def reads(unleaked_mv: float, at_ma: float, leak_ohm: float, current_ma: float) -> float:
    """A junction that reads `unleaked_mv` at `at_ma`, behind OHM, across a leak, by halving."""
    low, high = 0.0, 2000.0
    for _ in range(80):
        v = (low + high) / 2
        through = current_ma - v / leak_ohm
        if through <= 0:
            high = v
            continue
        own = unleaked_mv + N_VT * math.log(through / at_ma) + OHM * (through - at_ma)
        low, high = (v, high) if own > v else (low, v)
    return (low + high) / 2


def second(drop_mv: float | None, first_mv: float, sd_mv: float = 1.5) -> Second:
    return Second("low", drop_mv, first_mv + STEP, sd_mv, 1.0, 0.2, N_VT, 1.0)


@pytest.mark.parametrize("leak", [120.0, 700.0, 2000.0, 5000.0, 15000.0])
@pytest.mark.parametrize("unleaked", [330.0, 460.0, 610.0])
def test_what_a_leak_reads_at_the_smaller_current_is_the_circuits_own(leak: float, unleaked: float) -> None:
    got, share = leaked_mv(unleaked + STEP, leak, OHM, second(0.0, unleaked))
    want = reads(unleaked, 1.0, leak, 0.2)
    assert got == pytest.approx(want, abs=0.01)
    nudged = reads(unleaked + 0.1, 1.0, leak, 0.2)
    assert share == pytest.approx((nudged - want) / 0.1, abs=0.01)


@pytest.mark.parametrize("leak", [300.0, 1000.0, 2000.0, 5000.0, 12000.0])
def test_the_density_of_a_pair_is_the_integral_over_every_size_of_leak(leak: float) -> None:
    first, then = reads(400.0, 1.0, leak, 1.0), reads(400.0, 1.0, leak, 0.2)
    got = second_factors(first, VIEW, second(then, first), 0.0)[LEAK]
    band, steps = StudentT(VIEW.df, VIEW.loc, VIEW.scale), 4000
    top = bottom = 0.0
    for place in range(steps):
        ohm = 10 * math.exp((place + 0.5) / steps * math.log(2000))
        through = 1.0 - first / ohm
        if through <= 0:
            continue
        unleaked = first - N_VT * math.log(through) + OHM * (1 - through)
        weight = math.exp(band.logpdf(unleaked)) * (1 + N_VT / (through * ohm) + OHM / ohm)
        there = reads(unleaked, 1.0, ohm, 0.2)
        slope = (reads(unleaked + 0.1, 1.0, ohm, 0.2) - there) / 0.1
        sd = math.hypot(1.0, 1.5 * slope)
        top += weight * math.exp(-0.5 * ((then - there) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
        bottom += weight
    assert got == pytest.approx(top / bottom, rel=0.15)


def test_a_healthy_pair_by_hand() -> None:
    # the second one is where a healthy contact's would be: 1 / (1.5 sqrt(2 pi)) = 0.266 per mV
    row = second_factors(400.0, VIEW, second(400.0 + STEP, 400.0), 0.0)
    assert row[BAND] == pytest.approx(0.26596, abs=1e-4)
    assert row[BAND] > 3 * row[LEAK]
    assert row[BAND] > 1000 * row[OPEN]


def test_a_dead_short_reads_in_proportion_to_the_current() -> None:
    row = second_factors(5.0, VIEW, second(1.0, 5.0), 0.0)
    assert row[SHORT] > 100 * row[BAND]
    # a fifth of the current: 1 of 5 mV is the middle, with 4 mV to either side
    assert row[SHORT] == pytest.approx(1 / (4 * math.sqrt(2 * math.pi)))


def test_a_second_touch_that_failed_gives_anything_under_every_state() -> None:
    """Of a failed touch in fifty three fifths show OL, the rest any number up to 2 V: .02 x .4 / 2000 per mV."""
    row = second_factors(400.0, VIEW, second(1500.0, 400.0), 0.02)
    for state in (BAND, LEAK, SHORT):
        assert row[state] == pytest.approx(0.02 * 0.4 / 2000, rel=1e-3)


def test_the_weights_of_a_pair_are_those_the_first_reading_leaves() -> None:
    # 390 where 400 is healthy: nothing below 390 ohm can be there, and a few kilohm are likeliest
    leaks = leaks_given(390.0, VIEW, second(0.0, 390.0))
    assert min(one.ohm for one in leaks) > 390
    assert 1000 < max(leaks, key=lambda one: one.weight).ohm < 20000


@pytest.mark.parametrize("leak", [400.0, 1500.0, 5000.0])
def test_the_leak_is_found_with_an_interval_that_holds_it(leak: float) -> None:
    first, then = reads(402.0, 1.0, leak, 1.0), reads(402.0, 1.0, leak, 0.2)
    found = leak_found(first, VIEW, second(then, first))
    assert found is not None
    middle, low, high = found
    assert low <= leak * 1.2
    assert high >= leak / 1.2
    assert middle == pytest.approx(leak, rel=0.4)


# ---- whole sheets ---------------------------------------------------------------------------------

LINES = [str(n) for n in range(2, 14)]
MEANS = {n: 380.0 + 6 * int(n) for n in LINES}


def pair_sheet(leaks: dict[str, float], *, twice: list[str], seed: int = 1) -> BenchSheet:
    """Twelve lines of one chip; all read at 1 mA, some at 0.2 mA too; some leak."""
    rng = random.Random(seed)
    board = board_of([line("1", "ground"), *(line(n, "control", leads_to="U1") for n in LINES)])
    own = {n: MEANS[n] + rng.gauss(0, 3) for n in LINES}
    first = {n: reads(own[n], 1.0, leaks.get(n, 1e12), 1.0) for n in LINES}
    then = {n: reads(own[n], 1.0, leaks.get(n, 1e12), 0.2) for n in twice}
    job = touched({n: round(value) for n, value in first.items()})
    again = touched({n: round(value) for n, value in then.items()}, prefix="low", meter_id="low", start_ms=2**41)
    return sheet_of(board, (*job, *again), known=nine_boards(MEANS), meters=(BENCH_METER, LOW))


def verdicts(opinion: Opinion) -> dict[str, str]:
    return {one.contact: one.verdict for one in opinion.contacts}


@pytest.mark.parametrize("seed", range(4))
def test_a_leak_of_three_kilohm_shows_only_in_the_pair(seed: int) -> None:
    one = verdicts(form_opinion(pair_sheet({"5": 3000.0}, twice=[], seed=seed)))
    both = verdicts(form_opinion(pair_sheet({"5": 3000.0}, twice=LINES, seed=seed)))
    assert one["5"] == "expected"
    assert both["5"] == "low"
    assert [n for n in LINES if both[n] != "expected"] == ["5"]


def test_a_healthy_contact_read_with_two_meters_does_not_contradict_itself() -> None:
    both = form_opinion(pair_sheet({}, twice=["3", "7", "9"]))
    assert set(verdicts(both).values()) <= {"expected", "unread"}
    assert not any(one.touch_again for one in both.contacts)


def test_a_contact_read_only_with_the_other_meter_is_carried_to_the_sessions() -> None:
    sheet = pair_sheet({}, twice=["3"])
    lone = replace(sheet, readings=tuple(one for one in sheet.readings if one.id != "r-2"))
    told = next(one for one in form_opinion(lone).contacts if one.contact == "3")
    assert told.verdict == "expected"
    assert told.drop_mv == pytest.approx(MEANS["3"], abs=15)
    before = next(one for one in form_opinion(sheet).contacts if one.contact == "3")
    assert told.band.high_mv is not None
    assert told.band.low_mv is not None
    assert before.band.high_mv is not None
    assert before.band.low_mv is not None
    assert told.band.high_mv - told.band.low_mv > before.band.high_mv - before.band.low_mv


# ---- the touch, and the words -----------------------------------------------------------------------


def test_a_smaller_current_is_proposed_where_a_leak_is_suspected_and_such_a_meter_is_known() -> None:
    sheet = pair_sheet({"5": 1000.0}, twice=[], seed=3)
    told = form_opinion(sheet)
    touch = next((one for one in told.next if one.action == "second_current"), None)
    assert touch is not None, [one.title for one in told.next]
    assert touch.meter_id == "low"
    assert touch.title == "5 with a smaller current"
    assert "0.20 mA" in touch.reasons[0].sentence
    without = form_opinion(replace(sheet, meters=(BENCH_METER,)))
    assert "second_current" not in [one.action for one in without.next]
    done = form_opinion(pair_sheet({"5": 1000.0}, twice=["5"], seed=3))
    assert "second_current" not in [one.action for one in done.next if getattr(one.touch, "contact", "") == "5"]


@pytest.mark.parametrize("leak", [30.0, 100.0, 300.0, 700.0, 1000.0])
def test_it_is_proposed_for_a_leak_of_any_size(leak: float) -> None:
    """However low it reads: a leak falls in proportion, two lines joined or another maker's chip do not."""
    told = form_opinion(pair_sheet({"5": leak}, twice=[], seed=3))
    assert "5 with a smaller current" in [one.title for one in told.next], [one.title for one in told.next]


def test_a_current_that_is_hardly_smaller_is_no_second_one() -> None:
    """From half the first down; four fifths show a leak hardly further."""
    sheet = pair_sheet({"5": 300.0}, twice=[], seed=3)
    told = form_opinion(replace(sheet, meters=(BENCH_METER, replace(LOW, test_current_ma=0.8))))
    assert "second_current" not in [one.action for one in told.next]


def test_what_all_lines_of_one_chip_do_at_the_second_current_is_no_leak() -> None:
    """Six lines of one chip read 8 mV lower there than n and resistance have it, six of another as they should."""
    board = board_of([line("1", "ground"), *(line(n, "control", leads_to=f"U{1 + int(n) % 2}") for n in LINES)])
    job = touched({n: round(MEANS[n]) for n in LINES})
    then = {n: round(reads(MEANS[n], 1.0, 1e12, 0.2)) - (8 if int(n) % 2 else 0) for n in LINES}
    again = touched(then, prefix="low", meter_id="low", start_ms=2**41)
    sheet = sheet_of(board, (*job, *again), known=nine_boards(MEANS), meters=(BENCH_METER, LOW))
    ready = prepare(sheet)
    seconds = judge(sheet, ready, accept_readings(sheet, ready.board, Notes([], []))).seconds
    both = {n: seconds[place, "red"] for place, n in enumerate(LINES, 1)}
    off = {n: (one.drop_mv or 0) - one.healthy_mv for n, one in both.items()}
    leaning = [mv for n, mv in off.items() if int(n) % 2]
    assert max(abs(mv) for mv in leaning) < 3.5, off
    assert set(verdicts(form_opinion(sheet)).values()) <= {"expected", "unread"}


def test_it_is_not_proposed_for_a_dead_short() -> None:
    told = form_opinion(pair_sheet({"5": 2.0}, twice=[], seed=3))
    assert "second_current" not in [one.action for one in told.next]


def test_the_pair_says_how_large_the_leak_is() -> None:
    told = next(
        one for one in form_opinion(pair_sheet({"5": 3000.0}, twice=LINES)).contacts if one.contact == "5"
    )
    reason = next(one for one in told.reasons if one.code == "pair_sees_leak")
    numbers = {one.name: one.value for one in reason.numbers}
    assert numbers["low_ohm"] <= 3000 <= numbers["high_ohm"]
    assert "whatever this board's own spread" in reason.sentence


def test_a_session_says_which_leaks_its_meter_hides() -> None:
    def hidden(meter_ma: float) -> float:
        meter = replace(BENCH_METER, test_current_ma=meter_ma)
        drops = {n: round(reads(MEANS[n], 1.0, 1e12, meter_ma)) for n in LINES}
        board = board_of([line("1", "ground"), *(line(n, "control", leads_to="U1") for n in LINES)])
        known = nine_boards({n: drops[n] for n in LINES})
        told = form_opinion(sheet_of(board, touched(drops), known=known, meters=(meter,))).session.reasons
        reason = next(one for one in told if one.code == "leak_above_does_not_show")
        return reason.numbers[0].value

    # by hand at 1 mA: 4 mV three times over is 12 of about 464: ln(1 - x) 32 + 6 x = -12, x = 0.27, 452 / 0.27 = 1.7 k
    assert 900 < hidden(1.0) < 2600
    assert hidden(0.3) > 2 * hidden(1.0)


def test_a_contact_read_as_healthy_says_which_leak_it_could_hide_and_a_second_current_which_it_could_not() -> None:
    def said(opinion: Opinion, code: str) -> dict[str, float]:
        return {
            one.contact: reason.numbers[0].value
            for one in opinion.contacts for reason in one.reasons if reason.code == code
        }

    alone, both = (form_opinion(pair_sheet({}, twice=twice)) for twice in ([], ["7"]))
    hidden = said(alone, "leak_above_does_not_show")
    assert set(hidden) == set(LINES)
    words = next(one.reasons for one in alone.contacts if one.contact == "7")[-1].sentence
    assert words == f"A leak above {hidden['7'] / 1000:.1f} kohm would not show on this meter."
    assert set(said(both, "leak_above_does_not_show")) == set(LINES) - {"7"}
    # at a fifth of the current, with this board's own spread cancelled, a lighter leak shows
    assert said(both, "pair_sees_no_leak")["7"] > 1.4 * hidden["7"]


def test_the_lightest_leak_a_pair_shows_lies_three_deviations_down() -> None:
    pair = second(400.0 + STEP, 400.0)
    ohm = smallest_leak_shown(400.0, VIEW, pair, 3.0)
    assert ohm is not None
    # by halving: what made the first reading in spite of this leak, at the second current with it
    through = 1.0 - 400.0 / ohm
    unleaked = 400.0 - N_VT * math.log(through) + OHM * (1 - through)
    assert reads(unleaked, 1.0, ohm, 0.2) == pytest.approx(400.0 + STEP - 3 * 1.5, abs=0.05)
