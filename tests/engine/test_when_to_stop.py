"""When touching may stop: each branch of the rule on a kept job, some of its contacts not read.

What is worth its time is kept if what is left may still change the decision: all unread contacts together, or one touch
elsewhere; and what tells more than the decision is kept without that. What needs power waits for both.
"""

import math
from pathlib import Path

import msgspec
from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.job import WhatHappened
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"


def without(name: str, *contacts: str, what_happened: tuple[WhatHappened, ...] | None = None) -> Opinion:
    """The opinion on a kept job, those contacts not read; `what_happened`: said in place of what was."""
    sheet = msgspec.json.decode((SHEETS / f"{name}.json").read_bytes(), type=BenchSheet)
    left = tuple(one for one in sheet.readings if getattr(one.touch, "contact", None) not in contacts)
    said = sheet.intake if what_happened is None else replace(sheet.intake, what_happened=what_happened)
    return form_opinion(replace(sheet, readings=left, intake=said))


def test_contacts_of_which_none_alone_changes_much_keep_it_going_together() -> None:
    unread = ("A3", "B10", "B11")
    assert without("s4_core_honestly_low", *unread).stop is None
    for one in unread:
        alone = without("s4_core_honestly_low", one).stop
        assert alone is not None
        assert alone.code == "all_must_be_read"


def test_what_tells_which_part_it_is_is_worth_its_time_though_the_decision_stands() -> None:
    opinion = without("t10_charged_while_wet_then_ohms")
    assert opinion.stop is None
    assert opinion.next[0].title == "Ohms from 3V3D to core"
    assert not any(one.action == "retouch" for one in opinion.next)


def test_on_a_job_with_a_fault_power_does_not_wait_for_a_line_that_changes_nothing() -> None:
    opinion = without("t10_screen_pulled_the_fuse_then_f3", "24")
    assert [one.title for one in opinion.next[:2]] == ["Volts at C88, powered", "24 T_RST"]
    assert opinion.stop is None


def test_on_a_board_that_looks_healthy_power_waits_until_all_is_read() -> None:
    job, draw = "t10_low_current_meter_all_healthy", "The supply's draw at the first power"
    whole, but_one = (without(job, *one, what_happened=("battery_in_during_change",)) for one in ((), ("5",)))
    assert math.fsum(one.odds for one in whole.stories if one.kind in ("elsewhere", "nothing_wrong")) > 0.5
    assert (whole.next[0].title, whole.stop) == (draw, None)
    assert but_one.stop is not None
    assert but_one.stop.code == "all_must_be_read"
    assert all(one.title != draw for one in but_one.next)
