"""Which changes are refused, and by which path: a strict envelope, and bodies of our own version."""

from pathlib import Path
from typing import Any

import pytest

from server.sync.exchange import hand_out
from tests.sync.making import added, change, fields_set, reading
from tests.sync.rig import open_record, push


@pytest.mark.parametrize(("body", "where", "code"), [
    (fields_set({"title": "x", "unheard_of": 1}), "body.fields.unheard_of", "unknown_field"),
    (fields_set({"tray": "on_the_moon"}), "body.fields.tray", "wrong_value"),
    (fields_set({"intake": {"symptoms": ["no_light", "fire"]}}), "body.fields.intake.symptoms[1]", "wrong_value"),
    (fields_set({"intake": {"weather": 1}}), "body.fields.intake.weather", "unknown_field"),
    (fields_set({"air_c": "warm"}), "body.fields.air_c", "wrong_value"),
    (fields_set({"id": "another"}), "body.fields.id", "unknown_field"),
    (fields_set({"v": 1}), "body.fields.v", "unknown_field"),
    (fields_set({}), "body.fields", "missing_field"),
    (fields_set({"title": "x"}, kind="boat"), "body.kind", "wrong_value"),
    (fields_set({"hour_cost": -60.0}, kind="shop"), "body.fields.hour_cost", "wrong_value"),
    (fields_set({"options": [{"option": "replace_part", "parts_cost": -4.5}]}, kind="shop"),
     "body.fields.options[0].parts_cost", "wrong_value"),
    (added(reading(colour="red")), "body.record.colour", "unknown_field"),
    (added(reading(touch={"what": "contact"})), "body.record.touch.contact", "missing_field"),
    (added(reading(touch={"what": "poke", "contact": "1"})), "body.record.touch.what", "wrong_value"),
    (added(reading(touch={"what": "contact", "contact": "1", "hard": 1})), "body.record.touch.hard", "unknown_field"),
    (added(reading(taken_at_ms=-5)), "body.record.taken_at_ms", "wrong_value"),
    (added(reading(taken_at_ms="5")), "body.record.taken_at_ms", "wrong_value"),
    (added(reading(id="")), "body.record.id", "wrong_value"),
    (added(reading(v=3)), "body.record.v", "wrong_value"),
    # a body that does not say is of version 1
    ({"what": "added", "kind": "reading", "record": reading(v=2)}, "body.record.v", "wrong_value"),
    (added({"id": "r-1"}), "body.record.of", "missing_field"),
    (added([1]), "body.record", "wrong_value"),                             # type: ignore[arg-type]
    (added(reading(), kind="feeling"), "body.kind", "wrong_value"),
    ({"what": "shouted", "v": 1}, "body.what", "wrong_value"),
    ({"v": 1}, "body.what", "missing_field"),
    ({"what": "removed", "kind": "reading", "id": "r-1", "v": 0}, "body.v", "wrong_value"),
    ({"what": "removed", "kind": "reading", "id": "r-1", "v": "2"}, "body.v", "wrong_value"),
    ({"what": "removed", "kind": "reading", "id": "r-1", "v": 1, "loudly": 1}, "body.loudly", "unknown_field"),
    ([], "body", "wrong_value"),
    (None, "body", "wrong_value"),
])
async def test_a_body_of_our_version_is_refused_by_path(tmp_path: Path, body: Any, where: str, code: str) -> None:
    async with open_record(tmp_path) as database:
        [answer] = (await push(database, [change(1, body)])).answers
        assert answer.result == "refused" and answer.problem is not None
        assert (answer.problem.where, answer.problem.code) == (where, code)
        for said in (answer.problem.message, answer.problem.given, answer.problem.expected, answer.problem.example):
            assert said
        assert (await hand_out(database, 0, 10)).changes == ()


@pytest.mark.parametrize(("altered", "where"), [
    ({"hlc": "yesterday"}, "hlc"),
    ({"hlc": "٠٠٠٠٠٠٠٠٠٠٠٠٠٠٠-00000"}, "hlc"),
    ({"hlc": "001767225600000-00000\n"}, "hlc"),
    ({"id": "two words"}, "id"),
    ({"id": "line\n"}, "id"),
    ({"device": ""}, "device"),
    ({"device_seq": 0}, "device_seq"),
    ({"device_seq": 2**63}, "device_seq"),
    ({"device_seq": 1.5}, "device_seq"),
    ({"when": "now"}, "when"),
])
async def test_the_envelope_is_strict(tmp_path: Path, altered: dict[str, Any], where: str) -> None:
    async with open_record(tmp_path) as database:
        [answer] = (await push(database, [{**change(1, fields_set({"title": "T10"})), **altered}])).answers
        assert answer.result == "refused" and answer.problem is not None and answer.problem.where == where
