"""A contact read with either lead: one fault of one size, held against a plain sum over many sizes; two touches,
each of which may have failed by itself."""

import math
from typing import Any

import pytest
from msgspec.structs import replace

from server.engine.accept import Notes, accept_readings
from server.engine.both_leads import added_factor, leak_behind_factor, leak_factor
from server.engine.circuit.junction import Law, nominal, saturation_for
from server.engine.circuit.parts import GROUND, Circuit, Part, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.constants.readings import ADDED_HIGH_OHM, ADDED_LOW_OHM, LEAK_HIGH_OHM, LEAK_LOW_OHM
from server.engine.door import form_opinion
from server.engine.drops import BAND, HIGH, LEAK, LEAK_BEHIND, RESIDUAL, failed_touch, state_densities
from server.engine.faulted import View, added_density, behind, leak_density, normal
from server.engine.inference import Judged, judge
from server.engine.prepared import prepare
from shared_models.board import SeriesPart
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.sheet import BenchSheet
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

RED = View(470.0, 5.0, 12.0, 0.001, 0.0, 33.0, 38.0, 1.0, 2000.0, (), (), before_ohm=33.0)
BLACK = RED._replace(loc=760.0, scale=12.0, series_ohm=330.0)
SIZES = 600


def sizes(low: float, high: float) -> list[float]:
    return [math.exp(math.log(low) + (n + 0.5) / SIZES * math.log(high / low)) for n in range(SIZES)]


def reads(view: View, ohm: float) -> float:
    """What the line reads across a leak, by the nodal solve."""
    law = Law(
        saturation_for(view.loc - view.series_ohm * view.current_ma, view.junction_mv, view.current_ma),
        view.junction_mv, view.series_ohm,
    )  # fmt: skip
    line = (Part("leak", "capacitor", "c", GROUND), Part("d", "diode", GROUND, "c", None, nominal(law, 23.0)))
    ready = prepared(Circuit("c", line), 23.0)
    shown = read(ready, forced_current(1.0, 3000), "red", (PartState("leak", "value", ohm),), short_way=False)
    assert shown.drop_mv is not None
    return shown.drop_mv


def summed(x: float, y: float, red: View, black: View) -> float:
    """p(red, black | one leak) by many leaks, one by one."""
    total = 0.0
    for ohm in sizes(LEAK_LOW_OHM, LEAK_HIGH_OHM):
        total += normal(x, reads(red, ohm), red.scale) * normal(y, reads(black, ohm), black.scale)
    return total / SIZES


@pytest.mark.parametrize("ohm", [80.0, 600.0, 2000.0, 8000.0])
def test_one_leak_for_both_leads(ohm: float) -> None:
    x, y = reads(RED, ohm) + 2, reads(BLACK, ohm) - 5
    got = leak_factor((x, RED), (y, BLACK)) * leak_density(x, RED) * leak_density(y, BLACK)
    assert got == pytest.approx(summed(x, y, RED, BLACK), rel=0.1)


def test_the_same_behind_what_lies_in_line() -> None:
    inner, outer = behind(RED), behind(BLACK)
    x, y = reads(inner, 1500.0), reads(outer, 1500.0)
    got = leak_behind_factor((x + 33, RED), (y + 33, BLACK)) * leak_density(x, inner) * leak_density(y, outer)
    assert got == pytest.approx(summed(x, y, inner, outer), rel=0.1)


def test_a_pair_that_no_one_leak_explains_speaks_against_a_leak() -> None:
    """1 kohm by the one lead, 8 kohm by the other."""
    one, other = (reads(RED, 1000.0), RED), (reads(BLACK, 8000.0), BLACK)
    assert leak_factor(one, other) < 0.2
    assert leak_factor(one, (reads(BLACK, 1000.0), BLACK)) > 2


def test_one_added_resistance_for_both_leads() -> None:
    x, y = RED.loc + 62, BLACK.loc + 55
    total = 0.0
    for ohm in sizes(ADDED_LOW_OHM, ADDED_HIGH_OHM):
        total += normal(x, RED.loc + ohm, RED.scale) * normal(y, BLACK.loc + ohm, BLACK.scale)
    got = added_factor((x, RED), (y, BLACK)) * added_density(x, RED) * added_density(y, BLACK)
    assert got == pytest.approx(total / SIZES, rel=0.1)
    assert added_factor((x, RED), (BLACK.loc + 300, BLACK)) < 0.2


def test_a_line_that_branches_is_asked_by_its_table() -> None:
    """With a table of the same junction the factor is the closed form's."""
    offs = [-view_off for view_off in (0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 240.0, 330.0, 400.0, 450.0)]

    def share(off: float) -> float:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if 33.0 * math.log(middle) + 38.0 * (middle - 1) < off else (low, middle)
        return low

    table = RED._replace(shares=tuple((off, math.log(share(off)) if off else 0.0) for off in offs))
    for ohm in (300.0, 3000.0):
        y = reads(BLACK, ohm)
        plain = leak_factor((y, BLACK), (reads(RED, ohm), RED))
        by_table = leak_factor((y, BLACK), (reads(RED, ohm), table))
        assert by_table == pytest.approx(plain, rel=0.1)


# ---- whole sheets: two touches -----------------------------------------------------------------------

LINES = [str(n) for n in range(2, 12)]
HEALTHY_RED = {"1": 0.5, **{n: 470.0 + 3 * int(n) for n in LINES}}
HEALTHY_BLACK = {n: 760.0 + 3 * int(n) for n in LINES}


def two_touches(red: str | None, black: str | None) -> BenchSheet:
    """Ten lines behind 33 ohm each, all healthy but contact 5, which was touched once with either lead."""
    board = board_of(
        [
            line("1", "ground"),
            *(line(n, "bus", leads_to="U1", path=(SeriesPart(part=f"R{n}", ohm=33),)) for n in LINES),
        ]
    )
    drops: dict[str, Any] = {n: round(mv) for n, mv in HEALTHY_RED.items() if n != "5"}
    if red is not None:
        drops["5"] = red
    job = touched(drops)
    if black is not None:
        job += touched({"5": black}, prefix="black", lead_on_ground="black")
    known = nine_boards(HEALTHY_RED)
    other = nine_boards(HEALTHY_BLACK, lead_on_ground="black")["known_good_readings"]
    known["known_good_readings"] += tuple(replace(one, id=f"black-{one.id}") for one in other)
    return sheet_of(board, job, known=known)


def judged(sheet: BenchSheet) -> Judged:
    ready = prepare(sheet)
    return judge(sheet, ready, accept_readings(sheet, ready.board, Notes([], [])))


def test_either_of_two_touches_may_have_failed_by_itself() -> None:
    """State by state the whole is the product of what each touch says alone, its own failure in it."""
    alone = []
    for one in (judged(two_touches("300", None)), judged(two_touches(None, "785"))):
        row, fail = one.densities[4], one.failing[4]
        assert row is not None
        assert fail is not None
        alone.append([(1 - fail[0]) * density + fail[0] * fail[1] for density in row])
    both = judged(two_touches("300", "785"))
    row, fail = both.densities[4], both.failing[4]
    assert row is not None
    assert fail is not None
    assert fail[0] == pytest.approx(0.02 * 0.02)
    for state, (one, other) in enumerate(zip(*alone, strict=True)):
        if state not in (LEAK, LEAK_BEHIND, HIGH):  # of one size for both
            got = (1 - fail[0]) * row[state] + fail[0] * fail[1]
            # the session's fit is not quite the same, and how far the others stray from it neither
            assert got == pytest.approx(one * other, rel=2e-2), state


def test_two_touches_with_one_lead_that_agree_both_failed_less_often_than_by_chance() -> None:
    """Two in a hundred fail at this pitch, a second touch half as often (common practice, no source)."""
    once = two_touches("300", None)
    again = touched({"5": "300"}, prefix="again", start_ms=1_745_000_900_000)
    twice = judged(replace(once, sheet_id="twice", readings=(*once.readings, *again)))
    fail, failed_once = twice.failing[4], judged(once).failing[4]
    assert fail is not None
    assert failed_once is not None
    assert (failed_once[0], fail[0]) == (pytest.approx(0.02), pytest.approx(0.02 * 0.02 * 0.5))


def test_of_two_touches_that_contradict_each_other_either_may_be_the_failed_one() -> None:
    """Half and half: the one as the state reads and the other as a failed touch does, and the other way round."""
    once = two_touches("300", None)
    again = touched({"5": "485"}, prefix="again", start_ms=1_745_000_900_000)
    both = judged(replace(once, sheet_id="contradict", readings=(*once.readings, *again)))
    row, view = both.densities[4], both.views[4, "red"]
    assert row is not None
    one, other = state_densities(300.0, view), state_densities(485.0, view)
    for state in (BAND, LEAK):
        wanted = 0.5 * (one[state] * failed_touch(485.0, view) + other[state] * failed_touch(300.0, view))
        assert row[state] == pytest.approx(wanted, rel=1e-9)


def test_touches_that_agree_speak_against_a_charge_but_not_against_a_fed_rail() -> None:
    """1 mA moves 10 uF by 100 mV each millisecond (V = I t / C), so a charge agrees with itself one time in five; one
    in ten of what is left is fed from somewhere and stays: .1 + .9 x .2, and .1 + .9 x .2 x .2.
    """
    rows = []
    for count in (1, 2, 3):
        sheet, more = two_touches("300", None), ()
        for n in range(1, count):
            more += touched({"5": "300"}, prefix=f"again{n}", start_ms=1_745_000_900_000 + n)
        rows.append(judged(replace(sheet, sheet_id=f"{count} times", readings=(*sheet.readings, *more))).densities[4])
    once, twice, thrice = rows
    assert once is not None
    assert twice is not None
    assert thrice is not None
    assert twice[RESIDUAL] / once[RESIDUAL] == pytest.approx(0.28, rel=1e-3)
    assert thrice[RESIDUAL] / once[RESIDUAL] == pytest.approx(0.136, rel=1e-3)


def test_no_number_with_black_on_ground_twice_speaks_for_the_way_to_the_rail() -> None:
    """Its clamp to the rail open, or what the rail feeds gone: nothing that red on ground could see."""
    sheet = two_touches("485", "OL")
    again = touched({"5": "OL"}, prefix="again", start_ms=1_745_000_900_000, lead_on_ground="black")
    opinion = form_opinion(replace(sheet, readings=(*sheet.readings, *again)))
    assert contact(opinion).odds.high > 0.2


def contact(opinion: Opinion) -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == "5")


def test_a_spring_that_was_missed_with_red_and_read_with_black_is_not_torn() -> None:
    for black in ("775", "745", "700"):  # healthy, a little off, far off: a number all the same
        assert contact(form_opinion(two_touches("OL", black))).odds.open < 0.5, black
    assert contact(form_opinion(two_touches("OL", "OL"))).odds.open > 0.9


def test_a_number_far_below_is_not_called_healthy_where_it_hardly_is_nor_said_to_read_high() -> None:
    for red in ("300", "60"):
        for black in ("775", "700", "OL"):
            opinion = form_opinion(two_touches(red, black))
            told = contact(opinion)
            assert told.touch_again, (red, black)
            assert told.verdict != "expected" or told.odds.expected > 0.5, (red, black)
            said = " ".join(reason.sentence for one in opinion.next for reason in one.reasons)
            assert "reads high" not in said, (red, black)
            assert "were open" not in said, (red, black)


def test_a_line_that_reads_low_and_surely_so_is_not_said_to_read_as_if_its_part_were_open() -> None:
    sheet = two_touches("200", None)
    again = touched({"5": "200"}, prefix="again", start_ms=1_745_000_900_000)
    told = form_opinion(replace(sheet, readings=(*sheet.readings, *again)))
    assert contact(told).verdict == "low"
    assert not [one.title for one in told.next if one.title.startswith("Ohms across")]


def test_black_on_ground_out_of_its_band_on_one_touch_is_touched_once_more() -> None:
    once = form_opinion(two_touches("485", "300"))
    touch = next(one for one in once.next if one.title == "5 with the leads the other way round, once more")
    assert touch.lead_on_ground == "black"
    sheet = two_touches("485", "300")
    again = touched({"5": "300"}, prefix="again", start_ms=1_745_000_900_000, lead_on_ground="black")
    twice = form_opinion(replace(sheet, readings=(*sheet.readings, *again)))
    assert contact(twice).odds.low > contact(once).odds.low
    assert "once more" not in " ".join(one.title for one in twice.next if one.lead_on_ground == "black")
    healthy = form_opinion(two_touches("485", "775"))
    assert "once more" not in " ".join(one.title for one in healthy.next if one.lead_on_ground == "black")
