"""Names carry their units, tables are complete, and nothing in shared_models computes anything."""

from typing import get_args

import pytest
from msgspec.inspect import FloatType, IntType, Metadata, NoneType, UnionType, type_info
from msgspec.structs import fields

from shared_models import tables
from shared_models.board import Role
from shared_models.chances import OptionKind
from shared_models.change import ENTITY_TYPES, FACT_TYPES
from shared_models.job import DataSet, Storage, Symptom, Tray, WhatHappened
from shared_models.limits import NumberLimit, number_limits
from shared_models.opinion import Verdict
from shared_models.tables import KEYPAD, MAKE_SAFE_STEPS, ROLE_BY_ID, ROLES
from tests.unit.test_evolution import STRUCTS

UNITS = (
    *("_mv", "_ma", "_c", "_k", "_ohm", "ohm", "_mm", "_ms", "_s", "seconds"),
    *("_pct", "_bits", "_px", "_bytes", "_mj", "_uf", "_sd", "_min", "_h", "_squares", "mv"),
    "_cost",  # money, in the currency that stands beside it
)
WITHOUT_UNIT = {
    # counts and numbers in a row
    "v", "seq", "device_seq", "next_after", "changes", "status", "group", "slip", "touches", "contacts_used",
    "reference_boards", "led_count", "failed_touches", "lines", "learnt_jobs", "learnt_touches",
    "past_jobs", "worked_times", "failed_times",
    # shares and probabilities, 0 to 1, and a factor
    "x", "y", "expected", "short", "low", "high", "open", "odds", "second_odds", "probability", "risk", "factor",
    "device_chance_before", "data_chance_before", "touch_fails_wide", "touch_fails_fine", "device_odds", "data_odds",
    # a number whose name stands beside it, with the unit in that name
    "value",
}  # fmt: skip


def is_number(told: object) -> bool:
    if isinstance(told, Metadata):
        return is_number(told.type)
    if isinstance(told, UnionType):
        return all(isinstance(one, NoneType) or is_number(one) for one in told.types)
    return isinstance(told, IntType | FloatType)


def test_every_number_carries_its_unit_in_its_name() -> None:
    bare = [
        f"{name}.{field.name}"
        for name, one in STRUCTS.items()
        for field in type_info(one).fields  # type: ignore[attr-defined]
        if is_number(field.type) and not field.name.endswith(UNITS) and field.name not in WITHOUT_UNIT
    ]
    assert bare == []


def test_every_role_has_its_row_and_no_row_is_of_no_role() -> None:
    assert [row.id for row in ROLES] == list(get_args(Role))
    assert set(ROLE_BY_ID) == set(get_args(Role))


@pytest.mark.parametrize(
    ("table", "choice"),
    [("trays", Tray), ("what_happened", WhatHappened), ("symptoms", Symptom), ("verdicts", Verdict),
     ("storage", Storage), ("data_set", DataSet), ("options", OptionKind)],
)
def test_every_choice_has_words_for_people(table: str, choice: object) -> None:
    rows: list[dict[str, str]] = tables.all_tables()[table]  # type: ignore[assignment]
    assert sorted(row["id"] for row in rows) == sorted(get_args(choice))
    assert all(row["words"].strip() for row in rows)


def test_a_step_proved_with_the_meter_has_a_limit_and_can_never_be_waived() -> None:
    for step in MAKE_SAFE_STEPS:
        assert (step.limit_mv is not None) is (step.proved_by == "meter"), step.id
        if step.proved_by == "meter":
            assert step.required, step.id
            assert not step.waivable, step.id
        assert bool(step.waive_example) is step.waivable, step.id


def test_no_two_keys_of_the_keypad_answer_to_one_press() -> None:
    presses = [press for key in KEYPAD.keys for press in key.keys]
    assert len(presses) == len(set(presses))
    assert sorted(key.digit for key in KEYPAD.keys if key.digit) == list("0123456789")
    spoken = [key.spoken for key in KEYPAD.keys]
    assert len(spoken) == len(set(spoken))


def test_every_default_the_phone_fills_in_is_the_structs_own() -> None:
    defaults = tables.all_tables()["defaults"]
    assert isinstance(defaults, dict)
    for name, filled in defaults.items():
        one = next(found for key, found in STRUCTS.items() if key.endswith(f".{name}"))
        assert set(filled) == {field.name for field in fields(one) if not field.required}, name


def test_the_phone_is_told_which_numbers_a_record_takes() -> None:
    limits = number_limits()
    assert set(limits) == {*FACT_TYPES, *ENTITY_TYPES}
    assert NumberLimit(at="limit_ma", over=0, most=1e6) in limits["power_check"]
    assert NumberLimit(at="options.work_h", least=0, most=10_000) in limits["shop"]
    assert NumberLimit(at="air_c", least=-60, most=120) in limits["reading"]
    # a clamp's ohms may be none and a resistor's not: what only the member of a union says is not told
    assert [one.at for one in limits["board_version"] if one.at.endswith("ohm")] == ["nets.bleed_ohm"]
