"""What touches cost: seconds along a row, of a rail that climbs, at a fine pitch; and risk counted as seconds.

The seconds are those of the table of touches (common practice, no source), added up here by hand.
"""

import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from server.engine.worth import effective_seconds
from shared_models.opinion import NextTouch
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = [str(n) for n in range(2, 9)]
MEANS = {"1": 0.5, **dict.fromkeys(LANES, 338.0), "9": 395.0, "10": 395.0}


@pytest.mark.parametrize(("data_matters", "seconds"), [(False, 10 + 2 * 3 + 3), (True, 10 + 2 * 3 + 30)])
def test_a_hundredth_of_risk_is_three_seconds_and_thirty_where_data_matter(data_matters: bool, seconds: float) -> None:
    """Beside ten seconds of touching and three for each of two numbers that are written down."""
    assert effective_seconds(10.0, 0.01, 2, data_matters) == pytest.approx(seconds)


def runs(read: list[str], pitch_mm: float = 0.5) -> dict[tuple[str, ...], NextTouch]:
    """The runs proposed once these contacts were read in this order; a ground, seven lanes, two contacts of a rail."""
    board = board_of(
        [line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in LANES), line("9", "rail_5v"),
         line("10", "main_rail")],
        pitch_mm=pitch_mm,
    )  # fmt: skip
    drops: dict[str, str | float] = {n: round(MEANS[n]) for n in read}
    told = form_opinion(sheet_of(board, touched(drops), known=nine_boards(MEANS)))
    return {one.run: one for one in told.next if one.run and one.action == "read" and one.reasons[0].code == "unread"}


def seconds_of(run: tuple[str, ...], read: list[str], step: float) -> float:
    """By hand: ten to count out the first contact or a step from the one beside it, a step for each further one, two
    more for each rail to climb."""
    beside = abs(int(run[0]) - int(read[-1])) == 1
    rails = sum(number in ("9", "10") for number in run)
    return (step if beside else 10) + step * (len(run) - 1) + 2 * rails


@pytest.mark.parametrize(("pitch_mm", "step"), [(0.5, 4.0), (0.35, 6.0)])
def test_a_runs_seconds_are_the_tables(pitch_mm: float, step: float) -> None:
    seen: list[tuple[bool, bool]] = []
    for read in (["1", "2"], ["1", "2", "3", "4", "5"], ["1", "8", "3"], ["1", "2", "3", "4", "5", "6", "7", "8"]):
        for run, one in runs(read, pitch_mm).items():
            assert one.seconds == pytest.approx(seconds_of(run, read, step)), (read, run)
            assert one.risk == pytest.approx(0.0002 * len(run)), run
            seen.append((abs(int(run[0]) - int(read[-1])) == 1, "9" in run or "10" in run))
    assert {beside for beside, _ in seen} == {True, False}
    assert {with_rail for _, with_rail in seen} == {True, False}


def test_where_data_matter_no_touch_gets_cheaper() -> None:
    """The same touches, ranked with their risk ten times as heavy: what is safest does not fall behind."""
    board = board_of([line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in LANES)])
    read: dict[str, str | float] = dict.fromkeys(LANES, 338)
    sheet = sheet_of(board, touched({**read, "1": "0.5 mV", "4": "OL"}), known=nine_boards(MEANS))
    told = [form_opinion(replace(sheet, intake=replace(sheet.intake, data_matters=said))) for said in ("no", "yes")]
    risks = [[one.risk for one in opinion.next if one.gain_bits >= 0.02] for opinion in told]
    assert risks[1][0] <= risks[0][0]
