"""Whatever the order, the repeats and the portions: the same changes give the same whole state."""

import asyncio
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state

# few names and times, so that changes meet: on one field, at one moment, before and after a removal
RECORDS = st.sampled_from(["r-1", "r-2"])
JOBS = st.sampled_from(["job-1", "job-2"])
BODIES = st.one_of(
    st.builds(lambda one, typed: added(reading(one, as_typed=typed)), RECORDS, st.sampled_from(["452", "OL"])),
    st.builds(
        lambda job, fields: fields_set(fields, job), JOBS,
        st.fixed_dictionaries({}, optional={
            "title": st.sampled_from(["", "T10", "J7"]), "air_c": st.sampled_from([None, 20.5, -3.0]),
            "intake": st.sampled_from([{}, {"what_happened": ["liquid"]}, {"symptoms": ["no_power"]}]),
        }).filter(bool),
    ),
    st.builds(removed, RECORDS),
    st.builds(lambda job: removed(job, "job"), JOBS),
    st.builds(lambda job: fields_set({"title": "newer", "unheard_of": 1}, job, v=7), JOBS),
)
STAMPS_MS = st.integers(min_value=1, max_value=4)


@st.composite
def change_sets(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Up to 10 changes of three devices, each device counting its own from 1."""
    made: dict[str, int] = {}
    changes = []
    for _ in range(draw(st.integers(min_value=1, max_value=10))):
        device = draw(st.sampled_from(["phone-a", "phone-a.2", "phone-b"]))
        made[device] = made.get(device, 0) + 1
        changes.append(change(made[device], draw(BODIES), device, draw(STAMPS_MS)))
    return changes


@st.composite
def ways(draw: st.DrawFn, changes: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """All of `changes` in some order, some of them again, cut into portions."""
    repeats = draw(st.lists(st.sampled_from(changes), max_size=4))
    line = draw(st.permutations([*changes, *repeats]))
    cuts = sorted(draw(st.sets(st.integers(min_value=1, max_value=len(line)), max_size=4)) | {0, len(line)})
    return [line[start:end] for start, end in pairwise(cuts)]


async def state_after(portions: list[list[dict[str, Any]]], restart_between: bool = False) -> dict[str, Any]:
    """The whole state of a new record that was sent these portions."""
    with tempfile.TemporaryDirectory() as folder:
        halves = [portions[:1], portions[1:]] if restart_between else [portions]
        for half in halves:
            async with open_record(Path(folder)) as database:
                for portion in half:
                    await push(database, portion)
        async with open_record(Path(folder)) as database:
            return await whole_state(database)


@settings(max_examples=60)
@given(st.data())
def test_any_order_repeats_and_splits_give_the_same_whole_state(data: st.DataObject) -> None:
    changes = data.draw(change_sets())
    portions, restart_between = data.draw(ways(changes)), data.draw(st.booleans())
    straight = asyncio.run(state_after([changes]))
    assert asyncio.run(state_after(portions, restart_between)) == straight


@settings(max_examples=60)
@given(change_sets())
def test_the_state_is_what_the_rule_says(changes: list[dict[str, Any]]) -> None:
    """Against the rule written out plainly: sort by stamp and let the last one win."""
    facts: dict[str, Any] = {}
    fields: dict[str, dict[str, Any]] = {}
    gone = {f"{one['body']['kind']}/{one['body']['id']}" for one in changes if one["body"]["what"] == "removed"}
    newer = sorted(one["id"] for one in changes if one["body"]["v"] > 1)
    for one in sorted(changes, key=lambda one: (one["hlc"], one["device"], one["id"])):
        body = one["body"]
        if body["v"] > 1:
            continue
        if body["what"] == "added":
            facts[f"reading/{body['record']['id']}"] = body["record"]
        elif body["what"] == "fields_set":
            fields.setdefault(f"job/{body['id']}", {}).update(body["fields"])
    expected = {
        "facts": {key: value for key, value in facts.items() if key not in gone},
        "fields": {key: value for key, value in fields.items() if key not in gone},
        "removed": sorted(gone), "newer": newer,
    }
    assert asyncio.run(state_after([changes])) == expected
