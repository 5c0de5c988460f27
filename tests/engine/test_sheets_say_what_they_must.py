"""Every kept sheet: the opinion says what the invented job's truth demands, and nothing it forbids.

The demands are typed from what happened in each job (demo/sheets/expected.json says how to read
them), never from an opinion.
"""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from server.engine.door import form_opinion
from shared_models.opinion import ContactOpinion, NextTouch, Opinion, Story
from shared_models.reading import AcrossPart, AtContact, AtPartEnd, AtRail, AtTestPoint, BetweenContacts
from shared_models.sheet import BenchSheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
EXPECTED: dict[str, dict[str, Any]] = {
    name: one for name, one in json.loads((SHEETS / "expected.json").read_text()).items() if not name.startswith("_")
}
CALLED = ("short", "low", "high", "open")


@pytest.fixture(scope="module")
def opinions() -> dict[str, Opinion]:
    """The opinion on every kept sheet."""
    return {
        name: form_opinion(msgspec.json.decode((SHEETS / f"{name}.json").read_bytes(), type=BenchSheet))
        for name in EXPECTED
    }


def named(told: Story, wanted: dict[str, str]) -> bool:
    """Whether a story is the wanted one; a subject is a contact, a pair, a part or a net."""
    return told.kind == wanted["kind"] and (
        "subject" not in wanted
        or told.subject.lstrip("+") == wanted["subject"]
        or wanted["subject"] in told.title.split()
    )


def top_group(opinion: Opinion) -> list[Story]:
    """The group of the most probable story; a different count stands in it, beside what happened."""
    return [one for one in opinion.stories if one.group == opinion.stories[0].group]


def touch_name(one: NextTouch) -> str:
    """A touch in the words of expected.json."""
    if isinstance(one.touch, AtContact):
        return f"contact:{one.touch.contact}" + (":tail" if one.place == "tail" else "")
    if isinstance(one.touch, BetweenContacts):
        return f"between:{one.touch.contact_a}-{one.touch.contact_b}"
    if isinstance(one.touch, AcrossPart):
        return f"across_part:{one.touch.part}"
    if isinstance(one.touch, AtPartEnd):
        return f"part_end:{one.touch.part}:{one.touch.end}"
    if isinstance(one.touch, AtTestPoint):
        return f"test_point:{one.touch.name}"
    assert isinstance(one.touch, AtRail)
    return f"rail:{one.touch.net}" + (":module_plug" if one.subject == "module_plug" else "")


REMINDER_CODES = {
    "led_proof": ("led_capacitor",),
    "plug_ohms": ("module_not_again",),
    "do_not_plug_in": ("module_not_again",),
    "data_first": ("no_power_data",),
    "volts_first": ("still_powered",),
}


@pytest.mark.parametrize("name", EXPECTED)
def test_the_story_that_is_true_leads(opinions: dict[str, Opinion], name: str) -> None:
    wanted, opinion = EXPECTED[name], opinions[name]
    group = top_group(opinion)
    for one in wanted.get("top_group_has", []):
        assert any(named(told, one) for told in group), (
            one,
            [(told.kind, told.subject, told.odds) for told in opinion.stories],
        )
    if wanted.get("top_group_has_any"):
        assert any(named(told, one) for told in group for one in wanted["top_group_has_any"]), [
            (told.kind, told.subject, told.odds) for told in opinion.stories
        ]
    for one in wanted.get("top_group_lacks", []):
        assert not any(named(told, one) for told in group), (
            one,
            [(told.kind, told.subject, told.odds) for told in group],
        )
    for one in wanted.get("second_has", []):
        name_of = f"{one['kind']} {one.get('subject', '')}".strip()
        assert any((told.second or "").startswith(name_of) for told in group) or any(
            named(told, one) for told in group
        ), [(told.kind, told.second) for told in group]


@pytest.mark.parametrize("name", EXPECTED)
def test_contacts_get_the_verdict_that_is_right_and_healthy_ones_are_not_called(
    opinions: dict[str, Opinion], name: str
) -> None:
    wanted, opinion = EXPECTED[name], opinions[name]
    by_number: dict[str, ContactOpinion] = {one.contact: one for one in opinion.contacts}
    for contact, right in wanted.get("verdicts", {}).items():
        assert by_number[contact].verdict in right, (contact, by_number[contact])
    for contact in wanted.get("not_called", []):
        assert by_number[contact].verdict not in CALLED, (contact, by_number[contact])
    if wanted.get("no_odd"):
        assert [one.contact for one in opinion.contacts if one.verdict in CALLED] == []
    for contact in wanted.get("touch_again", []):
        assert by_number[contact].touch_again, (contact, by_number[contact])


@pytest.mark.parametrize("name", EXPECTED)
def test_the_next_touch_is_one_a_technician_would_make(opinions: dict[str, Opinion], name: str) -> None:
    wanted, opinion = EXPECTED[name], opinions[name]
    if wanted.get("next_among"):
        assert opinion.next, opinion.stop
        first = opinion.next[0]
        names = [touch_name(first), *[f"contact:{one}" for one in first.run]]
        assert any(one in wanted["next_among"] for one in names), (
            names,
            wanted["next_among"],
            [touch_name(one) for one in opinion.next],
        )


@pytest.mark.parametrize("name", EXPECTED)
def test_the_counting_the_gate_and_the_reminders_are_as_they_must_be(opinions: dict[str, Opinion], name: str) -> None:
    wanted, opinion = EXPECTED[name], opinions[name]
    if wanted.get("numbering_turned"):
        turned = [one for one in opinion.stories if one.kind == "counted_differently"]
        assert turned and turned[0].odds >= wanted["numbering_probability_at_least"], opinion.numbering
    else:
        assert opinion.numbering.order == "as_drawn"
    if "gate_open" in wanted:
        assert opinion.gate_open is wanted["gate_open"], opinion.gate_waits_for
    codes = [one.code for one in opinion.reminders]
    for reminder in wanted.get("reminders", []):
        assert any(code in codes for code in REMINDER_CODES[reminder]), (reminder, codes)
    _chances_are_near(wanted.get("chances", {}), opinion)
    if "offset_at_most_mv" in wanted:
        assert abs(opinion.session.offset_mv) <= wanted["offset_at_most_mv"]
        assert abs(opinion.session.shift_mv) <= wanted["offset_at_most_mv"], opinion.session


NEAR = 0.07
"""Chances are told in tens: this is what a technician and the opinion may differ by."""


def _chances_are_near(wanted: dict[str, float], opinion: Opinion) -> None:
    """What a technician gives device and data, within a little; and the interval holds it."""
    assert opinion.chances is not None
    for what, given in wanted.items():
        chance = getattr(opinion.chances, what)
        assert chance is not None, (what, opinion.chances)
        assert abs(chance.odds - given) <= NEAR, (what, given, chance)
        assert chance.low <= chance.odds <= chance.high
    if wanted and "in_full" not in wanted:
        assert opinion.chances.in_full is None
