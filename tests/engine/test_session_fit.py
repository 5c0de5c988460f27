"""What a session has in common is found through each contact's path, and faults are not taken for it.

Another meter and another temperature move junctions and series parts by their own laws, grounds and OL by
nothing. Low readings are faults until enough of the rest says otherwise.
"""

import math
import random

import pytest
from msgspec.structs import replace

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.meters import BENCH_METER, BORROWED_METER, BORROWED_METER_NO_SHEET
from demo.shop.references import REFERENCE_METER, T10_ON_THE_SCALE
from demo.shop.table import OL, T10_J7
from server.engine.door import form_opinion
from server.engine.meters import carry
from server.engine.roles import path_of
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet
from tests.support.benches import board_of, line, nine_boards, references, sheet_of, touched

CALLED = ("short", "low", "high", "open")
MEANS = {row["contact"]: row["ref_mean"] for row in T10_J7.rows}
JUNCTIONS = [c.number for c in T10.sockets[0].contacts if path_of(c) is not None and MEANS[c.number] != OL]
BEHIND_RESISTORS = ("14", "20", "22", "28")


def t10(meter: Meter, air_c: float | None, drops: dict[str, str]) -> BenchSheet:
    """A T10 sheet with that meter: nine healthy boards, and the job's drops as typed."""
    bench = Bench("fit", T10, T10_ON_THE_SCALE, meter, start_ms=1_745_000_000_000, by="Ines", air_c=air_c)
    return bench.sheet(readings=bench.pen.sweep(drops, {}))


def centre(sheet: BenchSheet, contact: str) -> float:
    """The centre of the healthy band of one contact in this session."""
    at = next(one.band.centre_mv for one in form_opinion(sheet).contacts if one.contact == contact)
    assert at is not None
    return at


@pytest.mark.parametrize("meter", [BENCH_METER, BORROWED_METER_NO_SHEET], ids=["with a sheet", "without"])
def test_three_readings_200_mv_low_never_become_an_offset(meter: Meter) -> None:
    opinion = form_opinion(t10(meter, 23.0, {number: str(int(MEANS[number]) - 200) for number in ("3", "9", "12")}))
    assert abs(opinion.session.shift_mv) < 3
    assert abs(opinion.session.offset_mv) < 3
    for one in opinion.contacts:
        if one.contact in ("3", "9", "12"):
            assert one.verdict == "low", one
            assert one.off_by_mv is not None
            assert one.off_by_mv < -190


def test_three_low_readings_of_contacts_nobody_described_make_no_offset_either() -> None:
    board = board_of([line(n, "unknown") for n in range(1, 13)])
    known = nine_boards({str(n): 450.0 for n in range(1, 13)})
    opinion = form_opinion(sheet_of(board, touched({"1": 250, "5": 250, "9": 250}), known=known))
    assert opinion.session.offset_mv == 0
    assert [one.contact for one in opinion.contacts if one.verdict == "low"] == ["1", "5", "9"]


def test_a_common_offset_of_contacts_nobody_described_is_taken_out_and_shown() -> None:
    board = board_of([line(n, "unknown") for n in range(1, 13)])
    known = nine_boards({str(n): 450.0 for n in range(1, 13)})
    opinion = form_opinion(sheet_of(board, touched({str(n): 470 for n in range(1, 13)}), known=known))
    assert opinion.session.offset_mv == pytest.approx(20, abs=3)
    assert [one.contact for one in opinion.contacts if one.verdict in CALLED] == []


def test_many_undescribed_contacts_far_low_are_no_offset_of_a_meter() -> None:
    board = board_of([line(n, "unknown") for n in range(1, 13)])
    known = nine_boards({str(n): 450.0 for n in range(1, 13)})
    opinion = form_opinion(sheet_of(board, touched({str(n): 250 for n in range(1, 9)}), known=known))
    assert opinion.session.offset_mv == 0
    read = [one for one in opinion.contacts if one.touches]
    assert all(one.touch_again and one.off_by_mv == pytest.approx(-200, abs=5) for one in read)
    assert len([one for one in read if one.verdict == "low"]) >= 6


@pytest.mark.parametrize("seed", range(6))
def test_with_the_meters_sheet_six_in_ten_low_contacts_do_not_drag_the_rest_down(seed: int) -> None:
    rng = random.Random(seed)
    low = set(rng.sample(JUNCTIONS, round(0.6 * len(JUNCTIONS))))
    true_ma, true_c = math.exp(rng.gauss(0, 0.02)), 23 + rng.gauss(0, 2)
    socket = {c.number: c for c in T10.sockets[0].contacts}
    healthy = {n: carry(float(MEANS[n]), path_of(socket[n]), 1.0, 23.0, true_ma, true_c) for n in JUNCTIONS}
    depth = {n: math.exp(rng.uniform(math.log(3), math.log(250))) if n in low else 0.0 for n in JUNCTIONS}
    drops = {n: f"{healthy[n] + rng.gauss(0, 3) - depth[n]:.0f}" for n in JUNCTIONS}
    bands = {one.contact: one.band for one in form_opinion(t10(BENCH_METER, 23.0, drops)).contacts}
    errors = [abs((bands[n].centre_mv or 0.0) - healthy[n]) for n in JUNCTIONS]
    assert math.fsum(errors) / len(errors) < 4


def test_the_borrowed_meter_at_3_c_is_found_through_the_paths_and_nothing_is_called() -> None:
    for meter, within_ma in ((BORROWED_METER, 0.06), (BORROWED_METER_NO_SHEET, 0.5)):
        opinion = form_opinion(t10(meter, 3.0, T10_J7.typed("job5")))
        assert opinion.session.current_ma == pytest.approx(1.9, abs=within_ma)
        assert opinion.session.junction_c == pytest.approx(3.0, abs=4)
        assert opinion.session.shift_mv == pytest.approx(81, abs=8)  # 338 mV reads 419 there [P]
        assert opinion.session.told_by_sheet is (meter is BORROWED_METER)
        assert [one.contact for one in opinion.contacts if one.verdict in CALLED] == []
        moved = {one.contact: one.band.carried_by_mv for one in opinion.contacts}
        # 22 and 33 ohm at nearly twice the current: more than the plain lines by R times the difference, but for
        # what a pair leans by
        for contact in BEHIND_RESISTORS:
            assert moved[contact] > moved["3"] + 4, contact
        assert moved["1"] == 0
        assert opinion.session.reasons


def test_an_unknown_meter_does_not_hide_one_leak_among_healthy_contacts() -> None:
    drops = {**T10_J7.typed("job5"), "23": "330"}
    opinion = form_opinion(t10(BORROWED_METER_NO_SHEET, 3.0, drops))
    assert [one.contact for one in opinion.contacts if one.verdict in CALLED] == ["23"]


@pytest.mark.parametrize("contact", ["3", "20", "28", "26"])
@pytest.mark.parametrize("off_mv", [-100, 100])
def test_a_contact_is_judged_without_itself(contact: str, off_mv: int) -> None:
    drops = T10_J7.typed("job2")
    before = centre(t10(BENCH_METER, 23.0, drops), contact)
    moved = {**drops, contact: str(int(drops[contact]) + off_mv)}
    assert centre(t10(BENCH_METER, 23.0, moved), contact) == pytest.approx(before, abs=1.0)
    # on a meter nobody knows each reading tells more of the session, and still not of itself
    unknown = t10(BORROWED_METER_NO_SHEET, 23.0, drops), t10(BORROWED_METER_NO_SHEET, 23.0, moved)
    assert centre(unknown[1], contact) == pytest.approx(centre(unknown[0], contact), abs=4.0)


@pytest.mark.parametrize("off_mv", [-100, 100])
@pytest.mark.parametrize("meter", [BENCH_METER, BORROWED_METER_NO_SHEET], ids=["with a sheet", "without"])
def test_of_a_rails_two_contacts_one_far_off_is_judged_by_the_other(meter: Meter, off_mv: int) -> None:
    drops = T10_J7.typed("job2")
    moved = {**drops, "30": str(int(drops["30"]) + off_mv)}
    assert centre(t10(meter, 23.0, moved), "30") == pytest.approx(int(drops["32"]), abs=2.0)


@pytest.mark.parametrize("off_mv", [-15, 15])
@pytest.mark.parametrize("meter", [BENCH_METER, BORROWED_METER_NO_SHEET], ids=["with a sheet", "without"])
def test_among_four_contacts_one_a_little_off_does_not_draw_its_own_band_along(meter: Meter, off_mv: int) -> None:
    four = {number: MEANS[number] for number in ("3", "9", "12", "21")}
    moved = {**four, "3": str(int(four["3"]) + off_mv)}
    assert centre(t10(meter, 23.0, moved), "3") == pytest.approx(centre(t10(meter, 23.0, four), "3"), abs=0.5)


def test_a_contact_read_alone_on_an_unknown_meter_proves_nothing() -> None:
    opinion = form_opinion(t10(BORROWED_METER_NO_SHEET, None, {"3": "289"}))
    one = next(one for one in opinion.contacts if one.contact == "3")
    # its band leans towards it (it is all that is known of the session), so it must stay wide: a healthy
    # contact on a small meter and a leak on a usual one read the same
    assert one.band.low_mv is not None
    assert one.band.high_mv is not None
    assert one.band.high_mv - one.band.low_mv > 50
    assert one.verdict not in CALLED
    assert one.odds.expected < 0.999
    assert opinion.session.shift_sd_mv > 3


def test_grounds_shorts_and_ol_say_nothing_of_the_session() -> None:
    quiet = form_opinion(t10(BENCH_METER, 23.0, {"1": "0", "7": "2", "16": "OL"}))
    assert quiet.session.contacts_used == 0
    assert quiet.session.shift_mv == 0
    assert quiet.session.current_ma == 1.0


def test_one_healthy_board_read_with_the_same_meter_needs_no_sheet() -> None:
    board = board_of([line(n, "lane") for n in range(1, 9)])
    unknown = Meter(id="bench", name="whatever")
    known = references([{str(n): 320.0 + n for n in range(1, 9)}])
    sheet = sheet_of(board, touched({str(n): 320.0 + n for n in range(1, 9)}), known=known, meters=(unknown,))
    opinion = form_opinion(sheet)
    assert abs(opinion.session.shift_mv) < 1
    one_low = form_opinion(replace(sheet, readings=(*sheet.readings[:-1], touched({"8": 200}, prefix="low")[0])))
    assert [one.contact for one in one_low.contacts if one.verdict in CALLED] == ["8"]


def test_the_reference_meters_sheet_is_used_for_the_references() -> None:
    # the same healthy board, its references on a 1 mA scale, read with 0.3 mA: 42 mV lower, and healthy
    opinion = form_opinion(t10(Meter(id="small", name="small", test_current_ma=0.3), 23.0, {"3": "297", "9": "297"}))
    assert REFERENCE_METER.test_current_ma == 1.0
    assert [one.contact for one in opinion.contacts if one.verdict in CALLED] == []
    band = next(one.band for one in opinion.contacts if one.contact == "3")
    assert band.centre_mv == pytest.approx(297, abs=4)


def test_a_reference_board_read_in_the_cold_is_carried_from_its_own_air() -> None:
    board = board_of([line(n, "lane") for n in range(1, 9)])
    known = references([{str(n): 377.7 for n in range(1, 9)}])  # 338 mV at 23 °C reads 377.7 at 3 °C
    cold = {**known, "reference_boards": tuple(replace(one, air_c=3.0) for one in known["reference_boards"])}
    opinion = form_opinion(sheet_of(board, touched({str(n): 338 for n in range(1, 9)}), known=cold))
    band = opinion.contacts[0].band
    assert band.centre_mv == pytest.approx(338, abs=1)
    assert band.carried_by_mv == pytest.approx(-39.7, abs=1)
    assert {one.verdict for one in opinion.contacts} == {"expected"}


def test_a_line_not_read_yet_leans_with_the_other_lines_of_its_chip() -> None:
    lanes = [str(n) for n in range(2, 10)]
    contacts = [line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in lanes)]
    contacts += [line("10", "control", leads_to="U1"), line("11", "control", leads_to="U2")]
    boards = [{**dict.fromkeys(lanes, 338.0 + k), "10": 470.0 + k, "11": 470.0 + k} for k in (-2, 0, 1, -1, 2)]
    read = {n: 322.0 + int(n) % 2 for n in lanes}
    sheet = sheet_of(board_of(contacts), touched(read), known=references(boards))
    # meter and air may move both alike; what is left is the chip's
    assert centre(sheet, "10") < centre(sheet, "11") - 2.5
