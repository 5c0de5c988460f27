"""What a healthy contact reads: from reference boards, from siblings, or from the role; and what OL means there."""

from collections.abc import Mapping, Sequence

import pytest
from msgspec.structs import replace

from demo.shop.boards import ALL_BOARDS
from server.engine.door import form_opinion
from server.engine.sibling_bands import _as_siblings_stray
from shared_models.board import Contact, SeriesPart
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, board_of, line, nine_boards, references, sheet_of, touched

CALLED = ("short", "low", "high", "open")
LANES = ["2", "3", "4", "5", "6", "7", "8", "9"]
OTHERS_READ: dict[str, str | float] = {n: 338 for n in LANES if n != "4"}
"""Everything but 4 read and healthy: what the session has in common is known then."""


def lanes(*more: Contact) -> list[Contact]:
    """A ground, four pairs of lanes of one chip, a ground."""
    pairs = [line(n, "lane", leads_to="U1", pair_with=str(int(n) ^ 1)) for n in LANES]
    return [line("1", "ground"), *pairs, line("10", "ground"), *more]


def of(opinion: Opinion, contact: str) -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == contact)


def called(opinion: Opinion) -> list[str]:
    return [one.contact for one in opinion.contacts if one.verdict in CALLED]


def width(opinion: Opinion, contact: str) -> float:
    band = of(opinion, contact).band
    assert band.high_mv is not None
    assert band.low_mv is not None
    return band.high_mv - band.low_mv


def read_as(drops: Mapping[str, str | float], boards: Sequence[Mapping[str, str | float]]) -> Opinion:
    known = references(boards) if boards else {}
    return form_opinion(sheet_of(board_of(lanes()), touched(drops), known=known))


# ---- reference boards ------------------------------------------------------


def test_an_odd_reference_board_is_set_aside_by_name_and_not_averaged_in() -> None:
    boards = [dict.fromkeys(LANES, 338.0 + k) for k in (-3, 0, 2, -1, 3, 1)]
    with_odd = [*boards[:3], {**boards[0], "4": 180.0}, *boards[3:]]
    without, including = read_as({}, boards), read_as({}, with_odd)
    assert of(including, "4").band.set_aside_boards == ("good-4",)
    assert of(including, "5").band.set_aside_boards == ()
    before, after = of(without, "4").band, of(including, "4").band
    assert after.centre_mv == pytest.approx(before.centre_mv, abs=1.0)
    assert width(including, "4") < 1.3 * width(without, "4")
    assert of(including, "4").band.carried_by_mv == 0


def test_of_two_boards_that_disagree_none_is_set_aside_and_the_band_is_wide() -> None:
    agree, disagree = ([dict.fromkeys(LANES, at) for at in pair] for pair in ((338.0, 340.0), (300.0, 380.0)))
    apart = read_as({}, disagree)
    assert of(apart, "4").band.set_aside_boards == ()
    assert width(apart, "4") > 2 * width(read_as({}, agree), "4")
    assert of(apart, "4").band.centre_mv == pytest.approx(340, abs=10)


def test_more_reference_boards_make_the_band_narrower_and_one_is_wide() -> None:
    steps = (0.0, 4.0, -4.0, 2.0, -2.0)
    widths = [
        width(read_as(OTHERS_READ, [dict.fromkeys(LANES, 338.0 + steps[k % 5]) for k in range(boards)]), "4")
        for boards in (1, 2, 5, 20)
    ]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 1.5 * widths[-1]
    assert of(read_as({}, [dict.fromkeys(LANES, 338.0)]), "4").band.reference_boards == 1


def test_with_one_healthy_board_a_lines_siblings_on_it_are_worth_about_another() -> None:
    # 4 reads 8 mV above its pair's other half and the other lanes: partly the touch, partly the line
    boards = [{**dict.fromkeys(LANES, 338.0 + k), "4": 346.0 + k} for k in (0.0, 1.0, -1.0, 2.0, -2.0, 0.5, -0.5, 1.5)]
    one, eight = read_as(OTHERS_READ, boards[:1]), read_as(OTHERS_READ, boards)
    centre, settled = of(one, "4").band.centre_mv, of(eight, "4").band.centre_mv
    assert centre is not None
    assert settled is not None
    assert 340 < centre < 344.5
    assert 344 < settled < 346.5
    # the others stand where they stood: one of seven siblings moves no median
    assert of(one, "8").band.centre_mv == pytest.approx(338, abs=0.5)
    alone = board_of([line("1", "ground"), *(line(n, "lane", leads_to=f"U{n}") for n in LANES)])
    lone = form_opinion(sheet_of(alone, touched(OTHERS_READ), known=references(boards[:1])))
    assert of(lone, "4").band.centre_mv == pytest.approx(346, abs=0.5)
    assert width(one, "4") < 0.95 * width(lone, "4")


def test_a_line_far_from_its_siblings_on_healthy_boards_is_drawn_otherwise_and_keeps_its_place() -> None:
    one = read_as({}, [{**dict.fromkeys(LANES, 338.0), "4": 378.0}])
    assert of(one, "4").band.centre_mv == pytest.approx(378, abs=0.5)


def test_a_board_set_aside_by_hand_is_not_used_and_says_why() -> None:
    sheet = sheet_of(board_of(lanes()), known=references([dict.fromkeys(LANES, at) for at in (338.0, 500.0)]))
    first, second = sheet.reference_boards
    sheet = replace(sheet, reference_boards=(first, replace(second, set_aside_why="module was plugged in")))
    opinion = form_opinion(sheet)
    assert of(opinion, "4").band.centre_mv == pytest.approx(338, abs=1)
    aside = [one for one in opinion.set_aside if one.code == "reference_set_aside"]
    assert {one.record_id for one in aside} == {f"good-2-{n}" for n in range(1, 9)}
    assert all("module was plugged in" in one.sentence for one in aside)


def test_reference_boards_outvote_the_role_on_whether_a_healthy_one_shows_ol() -> None:
    board = board_of([line("1", "ground"), line("2", "control"), line("3", "strap")])
    known = references([{"2": "OL", "3": 470}] * 5)
    opinion = form_opinion(sheet_of(board, touched({"2": "OL", "3": 471}), known=known))
    assert of(opinion, "2").band.reads_ol
    assert of(opinion, "2").verdict == "unseen"
    assert not of(opinion, "3").band.reads_ol
    assert of(opinion, "3").verdict == "expected"


def test_what_lies_above_the_meters_limit_shows_ol_when_healthy() -> None:
    hot_plug = line("2", "hot_plug_detect", path=(SeriesPart(part="R1", ohm=1000),))
    board = board_of([line("1", "ground"), hot_plug])
    for limit_mv, reads_ol in ((3000.0, False), (1400.0, True)):
        meter = replace(BENCH_METER, open_circuit_mv=limit_mv)
        opinion = form_opinion(sheet_of(board, touched({"2": "OL"}), meters=(meter,)))
        assert of(opinion, "2").band.reads_ol is reads_ol
        assert (of(opinion, "2").verdict == "unseen") is reads_ol


# ---- polarity --------------------------------------------------------------


def polarised(black: Mapping[str, str | float], job_black: Mapping[str, str | float]) -> BenchSheet:
    red = references([dict.fromkeys(LANES, 338.0 + k) for k in (-2, 0, 2)])
    other = references([black] * 3, lead_on_ground="black") if black else {"known_good_readings": ()}
    readings = touched(dict.fromkeys(LANES, 338)) + touched(job_black, prefix="b", lead_on_ground="black")
    known = {
        "reference_boards": red["reference_boards"],
        "known_good_readings": red["known_good_readings"]
        + tuple(replace(one, id=f"{one.id}-black") for one in other["known_good_readings"]),
    }
    return sheet_of(board_of(lanes()), readings, known=known)


def test_black_on_ground_never_touches_a_red_band() -> None:
    plain = form_opinion(polarised({}, {}))
    for black, job_black in (
        ({"4": 640.0}, {}),
        ({"4": 120.0}, {}),
        ({"4": "OL"}, {"4": 640}),
        ({"4": 640.0}, {"4": 641}),
    ):
        other = form_opinion(polarised(black, job_black))
        assert [one.band for one in other.contacts] == [one.band for one in plain.contacts]
        assert [one.drop_mv for one in other.contacts] == [one.drop_mv for one in plain.contacts]


def test_a_black_reading_is_judged_by_black_references_alone() -> None:
    healthy = form_opinion(polarised({"4": 640.0}, {"4": 642}))
    hurt = form_opinion(polarised({"4": 640.0}, {"4": 60}))
    assert of(healthy, "4").odds.expected > 0.98
    assert of(hurt, "4").odds.expected < of(healthy, "4").odds.expected - 0.2
    assert called(healthy) == []


# ---- siblings --------------------------------------------------------------


def test_without_references_one_leak_among_the_lanes_is_called_and_the_others_are_not() -> None:
    drops: dict[str, str | float] = {**{n: 371 + int(n) % 3 for n in LANES}, "6": 240, "1": 0, "10": 1}
    opinion = read_as(drops, [])
    assert called(opinion) == ["6"]
    assert of(opinion, "6").verdict == "low"
    band = of(opinion, "6").band
    assert band.rests_on == "siblings"
    assert set(band.siblings) == set(LANES) - {"6"}
    assert band.centre_mv == pytest.approx(372, abs=3)


def test_siblings_that_all_read_alike_are_healthy_whatever_the_role_would_say() -> None:
    # 40 mV above what the role usually reads: another maker's chip
    opinion = read_as({n: 410 + int(n) % 2 for n in LANES}, [])
    assert called(opinion) == []


def test_a_lane_alone_among_its_kind_is_judged_by_the_role_and_mildly() -> None:
    board = board_of([line("1", "ground"), line("2", "lane"), line("3", "control")])
    opinion = form_opinion(sheet_of(board, touched({"2": 300, "3": 430})))
    assert of(opinion, "2").band.rests_on == "role"
    assert called(opinion) == []


def test_the_band_of_a_sibling_does_not_lean_on_the_contact_itself() -> None:
    drops: dict[str, str | float] = dict.fromkeys(LANES, 371)
    centres = [of(read_as({**drops, "6": at}, []), "6").band.centre_mv for at in (371, 240, 500)]
    assert centres[0] is not None
    assert centres[1] == pytest.approx(centres[0], abs=0.5)
    assert centres[2] == pytest.approx(centres[0], abs=0.5)


def test_lines_behind_another_resistor_or_another_chip_are_no_siblings() -> None:
    behind = [line(n, "control", path=(SeriesPart(part=f"R{n}", ohm=33),), leads_to="U1") for n in (2, 3, 4, 5)]
    direct = [line(n, "control", leads_to="U1") for n in (6, 7, 8, 9)]
    board = board_of([line("1", "ground"), *behind, *direct])
    drops = {str(n): 503.0 for n in (2, 3, 4, 5)} | {str(n): 470.0 for n in (6, 7, 8, 9)}
    opinion = form_opinion(sheet_of(board, touched(drops)))
    assert called(opinion) == []
    assert set(of(opinion, "2").band.siblings) == {"3", "4", "5"}
    assert set(of(opinion, "6").band.siblings) == {"7", "8", "9"}


def test_a_path_that_lacks_the_roles_usual_resistor_is_judged_without_it() -> None:
    """The role's 1446 mV stands for a hot-plug line through 1 kohm; one through 100 ohm reads 900 mV less at 1 mA."""
    told = line("2", "hot_plug_detect", path=(SeriesPart(part="R2", ohm=100),), leads_to="U1")
    opinion = form_opinion(sheet_of(board_of([line("1", "ground"), told]), touched({"1": 0, "2": 560})))
    assert of(opinion, "2").band.rests_on == "role"
    assert of(opinion, "2").band.centre_mv == pytest.approx(546, abs=1)
    assert called(opinion) == []
    silent = form_opinion(sheet_of(board_of([line("1", "ground"), line("2", "hot_plug_detect")]), touched({"1": 0})))
    assert of(silent, "2").band.centre_mv == pytest.approx(1446, abs=1)


def two_bus_lines(one_mv: float, other_mv: float) -> Opinion:
    board = board_of([line("1", "ground"), line("2", "bus", leads_to="U1"), line("3", "bus", leads_to="U1")])
    return form_opinion(sheet_of(board, touched({"1": 0, "2": one_mv, "3": other_mv})))


@pytest.mark.parametrize("swapped", [False, True])
def test_of_two_alike_the_lower_is_judged_by_the_higher_whichever_was_read_first(swapped: bool) -> None:
    # half a kilohm to ground; the role alone would let it pass
    opinion = two_bus_lines(545, 390) if swapped else two_bus_lines(390, 545)
    low, healthy = ("3", "2") if swapped else ("2", "3")
    assert called(opinion) == [low]
    assert of(opinion, low).verdict == "low"
    assert of(opinion, low).band.siblings == (healthy,)
    assert of(opinion, healthy).band.rests_on == "role"


def test_two_that_read_alike_vouch_for_each_other() -> None:
    opinion = two_bus_lines(545, 551)
    assert called(opinion) == []
    assert {of(opinion, n).band.siblings for n in "23"} == {("2",), ("3",)}
    assert width(opinion, "2") < 0.4 * width(two_bus_lines(545, 390), "2")


def test_two_faults_among_four_alike_do_not_make_the_healthy_ones_odd() -> None:
    # the median of the three others lies on a leaky one
    board = board_of([line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in "2345")])
    opinion = form_opinion(sheet_of(board, touched({"1": 0, "2": 432, "3": 430, "4": 337, "5": 1})))
    assert called(opinion) == ["4", "5"]
    assert of(opinion, "2").band.siblings == ("3",)


def test_a_small_leak_is_surer_among_siblings_that_lie_close_together() -> None:
    def low(apart_mv: int) -> float:
        names = [str(n) for n in range(2, 12)]
        board = board_of([line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in names)])
        drops = {n: 372 + apart_mv * (int(n) % 3 - 1) for n in names} | {"1": 0, "2": 372 - 32}
        return of(form_opinion(sheet_of(board, touched(drops))), "2").odds.low

    assert low(1) > low(14) + 0.1


def test_how_siblings_stray_by_hand() -> None:
    # the shared part of five degrees beside twelve of one's own: 1 / (1/5 - 1/12) = 60/7; nine of them tell 8 more
    df, wider = _as_siblings_stray([0.0] * 9)
    assert df == pytest.approx(1 / (1 / 12 + 1 / (60 / 7 + 8)), rel=1e-9)
    assert wider == 1.0
    # each 10 mV off where 6.5 are usual: 9 x 2.367 = 21.3 beside 8 expected
    _, wider = _as_siblings_stray([10.0, -10.0] * 4 + [10.0])
    assert wider == pytest.approx(((60 / 7 + 21.30) / (60 / 7 + 8)) ** 0.5, rel=1e-3)
    assert _as_siblings_stray([0.0])[0] == pytest.approx(5.0)


# ---- what a band says of itself --------------------------------------------


@pytest.mark.parametrize("board", ALL_BOARDS, ids=lambda board: board.id)
def test_every_band_of_a_fresh_sheet_says_what_it_rests_on(board: object) -> None:
    version = next(one for one in ALL_BOARDS if one is board)
    sheet = BenchSheet(sheet_id="fresh", asked_at_ms=0, board=version, socket=version.sockets[0].ref)
    for one in form_opinion(sheet).contacts:
        band = one.band
        assert band.rests_on in ("role", "siblings", "reference_boards")
        assert band.reads_ol or (band.low_mv is not None and band.centre_mv is not None and band.high_mv is not None)
        if band.low_mv is not None and band.centre_mv is not None and band.high_mv is not None:
            assert band.low_mv < band.centre_mv < band.high_mv


def test_the_printed_band_holds_most_healthy_boards() -> None:
    known = nine_boards(dict.fromkeys(LANES, 338.0), spread_mv=4.0)
    band = of(form_opinion(sheet_of(board_of(lanes()), touched(OTHERS_READ), known=known)), "4").band
    assert band.low_mv is not None
    assert band.high_mv is not None
    # 95 % prediction of a spread of about 4 mV of the contact's own between boards, drawn a little towards what
    # the role says of one contact beside its chip, and narrower since this board's others hardly stray: one and a half
    # to four deviations either way
    assert 338 - 16 < band.low_mv < 338 - 6
    assert 338 + 6 < band.high_mv < 338 + 16


def test_a_meter_without_a_sheet_makes_bands_wider_than_one_with() -> None:
    known = nine_boards(dict.fromkeys(LANES, 338.0))
    unknown = Meter(id="other", name="unknown")
    told = form_opinion(sheet_of(board_of(lanes()), known=known))
    untold = form_opinion(sheet_of(board_of(lanes()), known=known, meters=(BENCH_METER, unknown), meter_id="other"))
    assert width(untold, "4") > 2 * width(told, "4")
