"""What further places answer under each story, as the table says: the questions put beside the stories, by hand.

The shares are the engine's own table (assumed, or common practice); held here is which share goes to which story.
"""

import math

import pytest
from msgspec.structs import replace

from server.engine.bands import noise_sd
from server.engine.candidate import Candidate, Hypothesis, candidate, hypotheses, two
from server.engine.evidence import claimed_twice, likely_so
from server.engine.inference import Judged, _pair_decisions
from server.engine.meters import conditions_of, plain_offset
from server.engine.prepared import prepare
from server.engine.probing import TIERS, _tier
from server.engine.session import known_bands
from server.engine.touches import candidates
from server.engine.verdicts import contact_states
from shared_models.job import MakeSafeProof
from shared_models.reading import AtContact, AtPartEnd, AtTestPoint, Meter
from shared_models.sheet import BenchSheet
from tests.engine.test_both_leads import judged, two_touches
from tests.support.benches import BENCH_METER, at_place, board_of, line, sheet_of, touched

LOW = two_touches("200", None)
LOW = replace(
    LOW, sheet_id="low", readings=(*LOW.readings, *touched({"5": "200"}, prefix="again", start_ms=1_745_000_900_000))
)


@pytest.fixture(scope="module")
def low() -> tuple[Judged, list[Hypothesis], list[Candidate]]:
    """Contact 5 behind R5 reads 200 mV where 485 is healthy, twice; what may be so, and what could be touched."""
    told = judged(LOW)
    known = hypotheses(told)
    return told, known, candidates(told, contact_states(told), known, data_matters=True)


def rows(low: tuple[Judged, list[Hypothesis], list[Candidate]], cost: str) -> dict[str, tuple[float, ...]]:
    """What a touch answers under each single story that speaks of contact 5, by kind."""
    _, known, places = low
    one = next(place for place in places if place.cost == cost)
    return {
        hypothesis.stories[0].kind: answer
        for hypothesis, answer in zip(known, one.answers, strict=True)
        if len(hypothesis.stories) == 1 and 4 in (*hypothesis.stories[0].footprint, *hypothesis.stories[0].contacts)
    }


def test_a_leak_or_damp_is_gone_once_cleaned_half_of_the_time_and_a_hurt_chip_is_not(low: tuple) -> None:
    answers = rows(low, "clean_and_read")
    assert answers["leak"] == two(0.5)
    assert answers["wet"] == two(0.5)
    assert answers["plugged_live"] == pytest.approx(two(0.03))


def test_a_leak_reads_the_same_both_ways_and_a_wounded_input_half_of_the_time(low: tuple) -> None:
    answers = rows(low, "other_polarity")
    assert answers["leak"] == two(0.9)
    assert answers["plugged_live"] == two(0.5)


def test_lower_at_the_far_end_is_a_hurt_chip_seldom_a_part_to_ground_and_never_a_bridge(low: tuple) -> None:
    told = low[0]
    for kind, likely in (("plugged_live", 0.9), ("leak", 0.3), ("bridge", 0.03)):
        story = next(one for one in told.prepared.stories if one.kind == kind and 4 in one.footprint)
        assert likely_so(story, told.prepared.board, "fault_behind", "R5") == (pytest.approx(likely), 0.5), kind


def findings_with(sheet: BenchSheet, *more: object) -> dict[str, bool]:
    read = replace(sheet, sheet_id=f"{len(more)} {more!r}"[:60], readings=(*sheet.readings, *more))  # type: ignore[arg-type]
    return {one.code: one.was_so for one in judged(read).findings}


@pytest.mark.parametrize(("far_mv", "behind"), [("190", False), ("186", False), ("180", True), ("20", True)])
def test_the_far_end_is_lower_when_half_of_what_the_part_would_take_is_missing(far_mv: str, behind: bool) -> None:
    """33 ohm at 1 mA take 33 mV of the 200: from 183.5 down the fault lies behind."""
    far = at_place(AtPartEnd(part="R5", end="far"), far_mv, id="far", place="part_far")
    assert findings_with(LOW, far)["fault_behind"] is behind


@pytest.mark.parametrize(
    ("shown", "as_told"), [("470", True), ("500", True), ("535", False), ("440", True), ("400", False)]
)
def test_a_known_resistor_agrees_within_three_deviations_of_sheet_and_resistor_together(
    shown: str, as_told: bool
) -> None:
    """2 % each are 2.8 % together; three of that are 8.5 % of 470 mV at 1 mA: 432 to 512."""
    resistor = at_place(AtTestPoint(name="known resistor 470 ohm"), shown, id="known", lead_on_ground=None)
    assert findings_with(LOW, resistor)["meter_as_told"] is as_told


def test_a_mark_that_two_stories_explain_counts_once() -> None:
    """Of each mark the smaller of the two factors is taken back; one that speaks against either is left alone."""
    marks = [[2.0, 1.0], [0.5, 3.0], [-1.0, 2.0]]
    assert claimed_twice(marks, 0, 1) == pytest.approx(-(1.0 + 0.5))


def test_a_common_offset_is_drawn_towards_none() -> None:
    """Five contacts of 3 mV, all 6 mV high; the prior is none, 15 mV to either side: 6 (5 / 9) / (5 / 9 + 1 / 225)."""
    offset, sd = plain_offset([(400.0 + n, 406.0 + n, 3.0) for n in range(5)])
    precision = 5 / 9 + 1 / 225
    assert offset == pytest.approx(6 * (5 / 9) / precision)
    assert sd == pytest.approx(math.sqrt(1 / precision))


def test_power_waits_for_gentle_touches_and_what_comes_off_for_both() -> None:
    def tier(cost: str) -> int:
        return _tier(candidate(cost, cost, AtContact(contact="1"), "drop", []))

    assert [tier("jump"), tier("other_polarity"), tier("clean_and_read")] == [0, 0, 0]
    assert [tier("draw"), tier("torch"), tier("heat"), tier("millivolts"), tier("volts_test_point")] == [1] * 5
    assert tier("lift_part") == len(TIERS) - 1 == 2


# ---- what is read, and what it is read beside ----------------------------------------------------------


def test_one_readings_scatter_is_the_hands_the_leads_and_the_gains() -> None:
    """1 mV of the hand, 0.4 ohm at 2 mA, a quarter per cent of 600 mV."""
    assert noise_sd(600.0, 2.0, same_meter=True) == pytest.approx(math.sqrt(1 + 0.8**2 + 1.5**2))
    assert noise_sd(600.0, 2.0, same_meter=False) == pytest.approx(math.sqrt(4 + 0.8**2 + 1.5**2))


@pytest.mark.parametrize(("noted", "climbs", "odds"), [(9, 9, 9.5 / 10), (2, 2, 2.5 / 3), (4, 1, 1.5 / 5)])
def test_how_often_healthy_boards_climb_is_never_quite_always_or_never(noted: int, climbs: int, odds: float) -> None:
    """Half a board of doubt to either side."""
    known = tuple(
        replace(one, steadiness="climbs" if n < climbs else "steady")
        if one.touch == AtContact(contact="5") and (n := int(one.of.reference_board_id[5:]) - 1) < noted  # type: ignore[union-attr]
        else one
        for one in LOW.known_good_readings
        if one.lead_on_ground == "red"
    )
    told = judged(replace(LOW, sheet_id=f"climbs {noted} {climbs}", known_good_readings=known))
    assert told.bands[4, "red"].climb_odds == pytest.approx(odds)


def test_a_sessions_current_is_as_sure_as_the_middle_of_the_boards_it_is_compared_with() -> None:
    """Three boards each by this meter, by one known to 2 % and by one nobody measured: the middle is 2 % twice over."""
    meters = (BENCH_METER, replace(BENCH_METER, id="sheet"), Meter(id="none", name="none"))
    of_board = {f"good-{n}": meters[n % 3].id for n in range(1, 10)}
    known = tuple(
        replace(one, meter_id=of_board[one.of.reference_board_id])  # type: ignore[union-attr]
        for one in LOW.known_good_readings
    )
    sheet = replace(LOW, sheet_id="three meters", known_good_readings=known, meters=meters)
    ready = prepare(sheet)
    at = conditions_of("bench", BENCH_METER, 23.0)
    sd = known_bands(ready, {one.id: one for one in meters}, at).current_sd
    assert sd == pytest.approx(math.hypot(0.02, 0.02), rel=0.02)


def test_of_two_touches_that_contradict_each_other_the_later_one_stands_with_its_rival() -> None:
    again = touched({"5": "485"}, prefix="again", start_ms=1_745_000_900_000)
    sheet = two_touches("300", None)
    told = judged(replace(sheet, sheet_id="later", readings=(*sheet.readings, *again)))
    assert (told.seen[4, "red"].drop_mv, told.seen[4, "red"].rival) == (485.0, (300.0,))


def test_where_a_healthy_contact_shows_ol_that_is_what_a_touch_is_expected_to_show() -> None:
    board = board_of([line("1", "ground"), line("2", "lane_coupled"), line("3", "lane", leads_to="U1")])
    model = prepare(sheet_of(board)).model
    band, near_zero, low, high, over = model.signatures[1][0]
    assert over > 0.95
    assert max(band, near_zero, low, high) < 0.05
    assert model.signatures[2][0][0] > 0.9


@pytest.mark.parametrize(("tail_mv", "normal"), [("485", True), ("460", True), ("440", False), ("300", False)])
def test_a_tail_reads_as_healthy_within_its_band_and_what_another_place_may_add(tail_mv: str, normal: bool) -> None:
    """Three deviations of some 4 mV, and 20 mV for another probe and place."""
    tail = at_place(AtContact(contact="5"), tail_mv, id="tail", place="tail")
    assert findings_with(two_touches("OL", None), tail)["tail_normal"] is normal


def test_two_faults_with_one_thing_to_do_are_one_thing_to_do(low: tuple) -> None:
    told = low[0]
    decisions = told.prepared.model.decisions
    alike = next((a, b) for a in range(len(decisions)) for b in range(a) if decisions[a] == decisions[b])
    apart = next((a, b) for a in range(len(decisions)) for b in range(a) if decisions[a] != decisions[b])
    one, other = _pair_decisions(told.prepared, [alike, apart])
    assert one == decisions[alike[0]]
    assert other >= len(told.prepared.decisions)


@pytest.mark.parametrize(("left_mv", "more"), [(-40.0, True), (40.0, True), (-4.0, False), (4.0, False)])
def test_voltage_below_zero_is_voltage(left_mv: float, more: bool) -> None:
    """A proof of making safe of either sign above 10 mV speaks for voltage left; a smaller one against it."""

    def odds(*proofs: MakeSafeProof) -> float:
        told = judged(replace(LOW, sheet_id=f"left {len(proofs)} {left_mv}", make_safe=proofs))
        return sum(
            weight for weight, story in zip(told.post, told.prepared.stories, strict=False)
            if story.kind == "still_powered"
        )

    proof = MakeSafeProof(
        id="p", job_id="job", step="main_rail", done=True, measured_mv=left_mv, at_place="C12", proved_at_ms=1
    )
    assert (odds(proof) > odds()) is more
