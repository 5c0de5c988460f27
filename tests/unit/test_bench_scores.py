"""The bench's scores against numbers worked by hand."""

import math
import xml.etree.ElementTree as ElementTree

import pytest

from tests.support.bench.bars import BARS, bar_table, missed
from tests.support.bench.contact_scores import table, threshold
from tests.support.bench.drawing import Axis, Curve, chart
from tests.support.bench.story_rows import _score
from tests.support.bench.story_scores import calibration_error, calibration_floor, surely_otherwise
from tests.support.bench.walk_scores import ratios


def row(what: str, score: float, size: float = 0.0, again: float | None = None) -> dict[str, object]:
    return {"what": what, "size": size, "number": True, "current_ma": 1.0, "first": {"engine": score},
            "again": {"engine": score if again is None else again}}  # fmt: skip


def test_the_threshold_leaves_the_asked_share_of_healthy_contacts_above_it() -> None:
    rows = [row("healthy", n / 1000) for n in range(1000)]
    limit = threshold(rows, "engine", 0.002)
    assert sum(one["first"]["engine"] > limit for one in rows) == 2  # type: ignore[index]


def test_misses_are_counted_at_the_same_false_alarms_and_opens_after_two_touches() -> None:
    rows = [row("healthy", 0.01) for _ in range(999)] + [row("healthy", 0.9, again=0.2)]
    rows += [row("leak", 0.4, 300), row("leak", 0.005, 400), row("open", 0.2, again=0.99), row("open", 0.2, again=0.3)]
    (line,) = table(rows, ("engine",))
    assert line["fa_one_touch"] == pytest.approx(0.001)
    assert line["fa_two_touches"] == 0.0
    assert line["missed"]["leak < 500"] == 0.5
    assert line["missed_own"]["leak < 500"] == 1.0
    assert line["missed"]["open, 2 touches"] == 0.5
    assert math.isnan(line["missed"]["short"])


def test_a_class_is_scored_as_by_hand() -> None:
    told = _score({"a": 0.6, "b": 0.35, "c": 0.05}, "b")
    assert told["log"] == pytest.approx(-math.log(0.35), abs=1e-5)
    assert told["brier"] == pytest.approx(0.36 + 0.4225 + 0.0025)
    assert (told["rank"], told["set"], told["covered"]) == (1, 2, True)
    never = _score({"a": 1.0}, "d")
    assert never["log"] == pytest.approx(-math.log(1e-6), abs=1e-4)
    assert never["brier"] == pytest.approx(2.0)
    assert not never["covered"]


def test_calibration_is_nothing_where_it_is_right_and_the_floor_is_what_chance_leaves() -> None:
    # ten bins of a hundred, each right exactly as often as it says
    right = [(0.05 + n / 10, hit) for n in range(10) for hit in ([True] * (5 + 10 * n) + [False] * (95 - 10 * n))]
    assert calibration_error(right) == pytest.approx(0.0, abs=1e-12)
    assert calibration_error([(0.9, False)] * 50) == pytest.approx(0.9)
    few, many = calibration_floor([0.7] * 100), calibration_floor([0.7] * 2000)
    # mean |share - 0.7| over bins of m jobs: sqrt(2 / pi) sqrt(0.21 / m)
    assert few == pytest.approx(math.sqrt(2 / math.pi * 0.21 / 10), rel=0.15)
    assert many == pytest.approx(math.sqrt(2 / math.pi * 0.21 / 200), rel=0.15)


def test_ratios_are_of_medians_of_means_and_of_the_median_job() -> None:
    def walk(touches: int) -> dict[str, float]:
        return {"touches": touches, "seconds": 4.0 * touches, "stop_touches": touches, "stop_seconds": 1.0,
                "stop_agrees": True, "end_agrees": True}  # fmt: skip

    rows = [{"guided": walk(g), "sweep": walk(s), "random": walk(s)} for g, s in ((2, 4), (3, 30), (10, 11))]
    told = ratios(rows)
    assert told["medians"] == pytest.approx(3 / 11)
    assert told["means"] == pytest.approx(15 / 45)
    assert told["median job"] == pytest.approx(0.5)


def test_what_is_sure_and_not_what_happened_is_counted_with_what_is_hurt_all_the_same() -> None:
    def row(top_p: float, rank: int, hurt: bool) -> dict[str, object]:
        return {"engine": {"top_p": top_p, "rank": rank}, "hurt as told": hurt}

    rows = [row(0.95, 0, True), row(0.95, 3, True), row(0.99, 1, False), row(0.8, 2, True)]
    assert surely_otherwise(rows) == (3, 2, 1)


def test_a_bar_without_a_figure_is_said_to_be_not_judged_and_a_missed_one_missed() -> None:
    told = bar_table({"short": 99.0, "fa one touch": 0.1}, {}, {}, {"short": 98.0})
    by_words = {line[:58].strip(): line for line in told.splitlines()}
    assert "MISSED" in by_words["shorts found, %"]
    assert "98.00" in by_words["shorts found, %"]
    assert "holds" in by_words["healthy contacts flagged, % (one touch)"]
    assert "not judged yet" in by_words["leaks below 10 kohm found with two currents, %"]
    assert missed({"short": 99.0, "fa one touch": 0.1}) == 1
    assert len({bar.figure for bar in BARS}) == len(BARS)


def test_a_picture_is_well_formed_and_names_every_line() -> None:
    across, up = Axis("ohm", [(10, "10"), (1000, "1k")], True), Axis("missed, %", [(0, "0"), (1, "100")])
    told = ElementTree.fromstring(chart("Leaks < 5k", across, up, [Curve("a & b", [(10, 0), (100, 0.5)])]))
    words = [one.text for one in told.iter() if one.tag.endswith("text")]
    assert {"Leaks < 5k", "a & b", "ohm", "1k"} <= {*words}
    line = next(one for one in told.iter() if one.tag.endswith("polyline"))
    (x0, _), (x1, _) = (map(float, point.split(",")) for point in line.attrib["points"].split())
    assert x1 - x0 == pytest.approx((720 - 64 - 190) / 2, abs=0.1)
