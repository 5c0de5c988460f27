"""Seconds and risks of touches against a bench's own figures: common practice, no source.

Typed from a table of what technicians reckon with at a display socket of 0.5 mm. It proves that the engine counts
with these figures, not that any bench is as quick.
"""

import pytest

from server.engine.constants.touches import TOUCHES

# seconds from and to, risk in per cent
FIGURES = {
    "next_along": (4, 4, 0.02),
    "next_along_fine": (6, 6, 0.02),
    "jump": (8, 12, 0.02),
    "retouch": (2, 2, 0.0),
    "rail_wait": (1, 3, 0.0),
    "other_polarity": (8, 8, 0.02),
    "between": (8, 8, 0.05),
    "tail": (6, 6, 0.05),
    "part_end": (8, 20, 0.1),
    "across_part": (10, 10, 0.1),
    "rail_ohms": (20, 20, 0.02),
    "rail_to_rail": (20, 20, 0.02),
    "plug_ohms": (20, 26, 0.1),
    "reseat": (60, 60, 0.5),
    "known_good_module": (600, 600, 1.0),
    "torch": (120, 120, 1.0),
    "draw": (120, 120, 1.0),
    "volts_test_point": (20, 20, 0.3),
    "clean_and_read": (600, 600, 0.2),
    "heat": (180, 240, 2.0),
    "millivolts": (240, 240, 2.0),
    "lift_part": (180, 180, 1.5),
}
OURS = {"second_current", "known_resistor", "volts_check"}  # no figure of the trade's; marked so in the table


@pytest.mark.parametrize("name", FIGURES)
def test_a_touch_costs_what_the_bench_says(name: str) -> None:
    least, most, per_cent = FIGURES[name]
    assert least <= TOUCHES[name].seconds <= most
    assert TOUCHES[name].risk == pytest.approx(per_cent / 100)


def test_the_rest_say_that_they_are_assumed() -> None:
    assert set(TOUCHES) - set(FIGURES) == OURS
    assert all("assumed" in TOUCHES[name].answers for name in OURS)


def test_what_comes_off_is_last_and_what_is_powered_costs_more_risk_than_a_contact() -> None:
    assert [name for name, row in TOUCHES.items() if row.changes_board] == ["lift_part"]
    assert all(row.risk > TOUCHES["jump"].risk for row in TOUCHES.values() if row.needs_power)
