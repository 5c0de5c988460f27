"""The bench's counting, on rows whose answer is plain by hand: nothing is simulated here."""

import math
from typing import Any

import pytest

from shared_models.opinion import Number, Reason
from tests.support.bench.bars import BARS, bar_table
from tests.support.bench.further_rows import WAYS
from tests.support.bench.further_scores import by_way, figures_of, way_table
from tests.support.bench.meter_scores import figures_of as figures_of_meters
from tests.support.bench.words_rows import Said, intervals
from tests.support.bench.words_scores import figures_of as figures_of_words
from tests.support.bench.words_scores import held, placed


def further_row(what: str, size: float, odds: dict[str, float], *, number: bool = True, rail: bool = False) -> Any:
    return {"weather": "plain", "job": 0, "what": what, "size": size, "rail": rail, "number": number,
            "first": {way: odds.get(way, odds["one"]) for way in WAYS}}  # fmt: skip


@pytest.fixture
def looked() -> list[Any]:
    """A thousand healthy signals, four of them at 0.6 at 1 mA and one at 0.1 mA; four leaks, three below 10 kohm."""
    rows = [
        further_row("healthy", 0, {"one": 0.6 if n < 4 else 0.01, "0.1": 0.6 if n < 1 else 0.01}) for n in range(1000)
    ]
    rows.append(further_row("healthy", 0, {"one": 0.99}, rail=True))
    rows.append(further_row("open", 0, {"one": 0.2}, rail=True, number=False))
    for size, one, pair in ((300.0, 0.9, 0.99), (4000.0, 0.3, 0.9), (9000.0, 0.1, 0.005), (15_000.0, 0.0, 0.8)):
        rows.append(further_row("leak", size, {"one": one, "0.1": pair}))
    rows.append(further_row("open", 0, {"one": 0.4, "other lead": 0.9}, number=False))
    return rows


def test_leaks_below_ten_kilohm_are_counted_at_the_same_false_alarms(looked: list[Any]) -> None:
    found = {line["way"]: line for line in by_way(looked)}
    # at 1 mA the third highest healthy one is 0.6, and only the 300 ohm lie above; at 0.1 mA the third is 0.01
    assert found["one"]["found"]["leak < 10k"] == (pytest.approx(1 / 3), 3)
    assert found["0.1"]["found"]["leak < 10k"] == (pytest.approx(2 / 3), 3)
    assert found["0.1"]["found"]["leak 10-20k"] == (1.0, 1)
    assert figures_of(looked)["leak two currents"] == pytest.approx(200 / 3)


def test_healthy_signals_flagged_are_counted_at_the_engines_own_threshold_and_rails_are_not(looked: list[Any]) -> None:
    found = {line["way"]: line for line in by_way(looked)}
    assert (found["one"]["fa"], found["0.1"]["fa"]) == (0.004, 0.001)
    assert found["one"]["healthy"] == 1000
    assert figures_of(looked)["fa two currents"] == pytest.approx(0.1)


def test_an_open_is_what_showed_no_number_and_the_other_lead_may_find_it(looked: list[Any]) -> None:
    found = {line["way"]: line["found"]["open"] for line in by_way(looked)}
    assert found["one"] == (0.0, 1)
    assert found["other lead"] == (1.0, 1)
    assert "and black on ground" in way_table(looked)


def test_an_interval_that_holds_too_often_misses_its_aim_as_one_that_holds_too_seldom() -> None:
    def rows(near: int, far: int) -> list[Any]:
        sheet = {"what": "sheet", "refused": "", "zero_off_sd": 0.0}
        pair = {"what": "pair", "refused": "", "current_off_sd": None, "covered": True}
        told = [{**sheet, "current_off_sd": 1.6}] * near + [{**sheet, "current_off_sd": -1.7}] * far
        return [*told, pair, {**pair, "current_off_sd": 1.0}, {"what": "sheet", "refused": "line_falls"}]

    assert figures_of_meters(rows(90, 10))["sheet current"] == 0
    assert figures_of_meters(rows(70, 30))["sheet current"] == pytest.approx(0.18)
    assert figures_of_meters(rows(100, 0))["sheet current"] == pytest.approx(0.03)
    assert figures_of_meters(rows(90, 10))["pair ratio"] == pytest.approx(0.02)


def test_intervals_are_read_out_of_the_sentence_each_with_its_place() -> None:
    def said(code: str, sentence: str, **numbers: float) -> list[Said]:
        told = tuple(Number(name=name, value=value) for name, value in numbers.items())
        return intervals(Reason(code=code, sentence=sentence, numbers=told))

    both = "A leak of 340 ± 20 ohm at the socket, or 2.9 kohm (1.5 kohm to 8.0 kohm) behind R7 would read this. More."
    assert said("leak_at_places", both) == [Said("socket", 320, 360), Said("behind", 1500, 8000)]
    line = "A leak of more than 1.2 kohm on this line would read this."
    assert said("leak_at_places", line) == [Said("line", 1200, math.inf)]
    behind = "45 mV at 1.02 mA is 44 ohm. R214 (33 ohm) lies between: 11 ± 4 ohm are left, so D5, not the socket."
    assert said("short_behind", behind) == [Said("behind", 7, 15)]
    front = "3 mV at 1.00 mA is 3 ohm. That is a short on this line: the socket."
    assert said("short_in_front", front, left_low_ohm=1, left_high_ohm=5) == [Said("socket", 1, 5)]
    assert said("as_ohms", "A leak of about 3.1 kohm to ground would read this.", leak_ohm=3100) == []


def test_of_words_the_place_that_is_right_is_counted_apart_from_the_interval_that_holds() -> None:
    row = {"what": "short", "verdict": "low", "code": "short_behind", "place": "behind", "series_ohm": 33.0}
    rows = [
        {**row, "named": "behind", "holds": True},
        {**row, "named": "socket", "holds": None},
        {**row, "named": "either", "holds": False},
        {**row, "named": "", "code": "", "holds": None},
        {**row, "named": "line", "series_ohm": 0.0, "holds": True},
    ]
    assert placed(rows) == {"right": 1 / 3, "wrong": 1 / 3, "not parted": 1 / 3, "n": 3}
    assert held(rows) == (2 / 3, 3)
    assert figures_of_words(rows)["words"] == pytest.approx(0.92 - 2 / 3)


def test_a_bar_without_a_figure_says_that_it_is_not_judged() -> None:
    lines = bar_table({"leak two currents": 98.0}, {}, {}, {}).splitlines()
    assert any("two currents" in line and " holds" in line for line in lines)
    assert sum("not judged yet" in line for line in lines) == len(BARS) - 1
