"""Titles and reasons say no more than the readings do."""

from tests.support.what_next import opinion_on


def plug_touch_says(name: str) -> str:
    opinion = opinion_on(name)
    touches = [one for one in opinion.next if one.reasons and one.reasons[0].code == "plug_ohms"]
    assert touches, [one.title for one in opinion.next]
    return touches[0].reasons[0].sentence


def test_a_leak_is_not_called_one_to_ground_where_a_rail_would_read_the_same() -> None:
    leaks = [story.title for story in opinion_on("l14_no_references_no_light").stories if story.kind == "leak"]
    assert leaks and all(title.endswith(", to ground or a rail") for title in leaks), leaks


def test_a_boards_own_short_is_not_passed_over_where_the_plug_is_measured_next() -> None:
    assert "speak for a fault of the board" in plug_touch_says("p1_usb_c_vbus_short")
    assert "say nothing against it" in plug_touch_says("t10_everything_reads_high")
