"""What a further contact of a rail should read is what the rail reads, unless the rail itself is out of its band."""

import pytest

from server.engine.door import form_opinion
from shared_models.opinion import ContactOpinion
from tests.support.benches import board_of, line, references, sheet_of, touched
from tests.support.papers import whole_visit

RAIL = ["2", "3", "4"]
BOARDS = [{**dict.fromkeys(RAIL, 440.0 + k), "5": 338.0 + k / 2, "6": 339.0 + k / 2} for k in (-9, 0, 6, -3, 9)]


def read_as(**drops: float) -> dict[str, ContactOpinion]:
    rails = [line(number, "main_rail", net="VMAIN") for number in RAIL]
    lanes = [line(number, "lane", leads_to="U1") for number in ("5", "6")]
    board = board_of([line("1", "ground"), *rails, *lanes])
    told = {name.removeprefix("c"): at for name, at in {"c5": 338.0, "c6": 339.0, **drops}.items()}
    opinion = form_opinion(sheet_of(board, touched(told), known=references(BOARDS)))
    return {one.contact: one for one in opinion.contacts}


def test_a_further_contact_of_a_rail_is_shown_beside_what_the_rail_reads() -> None:
    told = read_as(c2=455.0, c3=456.0)
    first, second, unread = (told[number].band for number in RAIL)
    assert first.rests_on == "reference_boards"
    assert first.centre_mv == pytest.approx(440, abs=4)
    for band in (second, unread):
        assert (band.rests_on, band.siblings) == ("siblings", ("2",))
        assert band.centre_mv == pytest.approx(455, abs=4)
        assert band.high_mv is not None
        assert first.high_mv is not None
        assert band.low_mv is not None
        assert first.low_mv is not None
        assert band.high_mv - band.low_mv < 0.6 * (first.high_mv - first.low_mv)
    assert told["3"].off_by_mv == pytest.approx(1, abs=2)


@pytest.mark.parametrize("rail_mv", [3.0, 240.0])
def test_on_a_rail_that_is_low_every_contact_shows_what_healthy_boards_read(rail_mv: float) -> None:
    told = read_as(c2=rail_mv, c3=rail_mv + 1)
    for number in RAIL:
        assert told[number].band.rests_on == "reference_boards"
        assert told[number].band.centre_mv == pytest.approx(440, abs=4)
    assert told["2"].verdict == told["3"].verdict != "expected"


def test_one_contact_of_a_healthy_rail_that_reads_high_is_told_by_how_far_it_is_above_the_rail() -> None:
    told = read_as(c2=455.0, c3=455.0, c4=490.0)
    assert told["4"].off_by_mv == pytest.approx(35, abs=4)
    assert "its sibling 2 on this board" in told["4"].reasons[0].sentence


def test_a_bad_touch_at_a_rails_first_contact_does_not_make_the_rail_high() -> None:
    told = read_as(c2=486.0, c3=446.0)
    assert told["3"].verdict == "expected"
    assert told["3"].odds.high < 0.1
    assert told["2"].touch_again, "it is 40 mV above the contact beside it on the same rail"
    assert read_as(c2=446.0, c3=486.0)["2"].verdict == "expected"


def test_two_contacts_that_agree_speak_for_a_rail_against_a_third() -> None:
    told = read_as(c2=441.0, c3=120.0, c4=121.0)
    assert told["3"].verdict == told["4"].verdict == "low"
    assert told["3"].odds.low > 0.9


def test_a_rail_judged_odd_inside_its_wide_band_is_shown_beside_healthy_boards_at_every_contact() -> None:
    # an LED rail 40 mV high with its fuse open: within three deviations, and called all the same
    sheet = whole_visit().sheet
    assert sheet is not None
    told = {one.contact: one for one in form_opinion(sheet).contacts}
    for number in ("30", "32"):
        assert told[number].verdict == "high"
        assert told[number].band.rests_on == "reference_boards"
        assert told[number].off_by_mv == pytest.approx(41, abs=4)
