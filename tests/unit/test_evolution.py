"""The Structs grow by the rules of shared_models/EVOLUTION.md: what an older version wrote reads for ever.

`tests/vectors/payloads/v1/`, `v2/` hold one body of each Struct that travels, every field filled, and one with
nothing but what must be sent; `v1_shape.json` what the Structs of that version held. Neither is ever edited.
"""

import json
from pathlib import Path
from types import ModuleType
from typing import Any

import msgspec
import pytest
from msgspec import Struct
from msgspec.inspect import LiteralType, Metadata, UnionType, VarTupleType, type_info
from msgspec.structs import fields

from shared_models import board, chances, change, closing, custody, job, opinion, power, reading, reason, sheet
from shared_models.base import BODY_V, Model
from shared_models.change import ENTITY_TYPES, FACT_TYPES, Added, Change, ChangeBatch, FieldsSet, Removed

PAYLOADS = Path(__file__).parents[1] / "vectors" / "payloads"
MODULES: list[ModuleType] = [board, reading, job, sheet, reason, chances, opinion, power, custody, closing, change]
MOVED = {"opinion.Number": reason.Number, "opinion.Reason": reason.Reason}
"""Where a Struct stands in the sources is nothing of its wire form: its old name -> the Struct."""
VERSIONS = range(1, BODY_V + 1)


def structs() -> dict[str, type[Struct]]:
    """Every Struct that travels, as module.Name."""
    return {
        f"{module.__name__.split('.')[-1]}.{name}": one
        for module in MODULES
        for name, one in vars(module).items()
        if isinstance(one, type) and issubclass(one, Model) and one.__module__ == module.__name__
    }


STRUCTS = structs() | MOVED
KEPT: dict[str, dict[str, Any]] = {
    f"v{version}/{path.stem}": json.loads(path.read_text())
    for version in VERSIONS
    for path in sorted((PAYLOADS / f"v{version}").glob("*.json"))
}
SHAPES: dict[int, dict[str, Any]] = {
    version: json.loads((PAYLOADS / f"v{version}_shape.json").read_text()) for version in VERSIONS
}


def decoded(kept: dict[str, Any]) -> Struct:
    return msgspec.json.decode(json.dumps(kept["body"]).encode(), type=STRUCTS[kept["struct"]])


# ---- what was written once reads for ever ----------------------------------------------------


def disagreements(one: Any, other: Any, path: str = "$") -> list[str]:
    """Places that both JSON values have and that differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        return [place for key in one if key in other for place in disagreements(one[key], other[key], f"{path}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return [place for n, (a, b) in pairs for place in disagreements(a, b, f"{path}[{n}]")]
    return [] if one == other else [path]


@pytest.mark.parametrize("name", KEPT)
def test_a_kept_body_is_read_and_written_back_with_nothing_lost(name: str) -> None:
    first = decoded(KEPT[name])
    again = msgspec.json.encode(first)
    assert disagreements(KEPT[name]["body"], json.loads(again)) == []
    # what the writing leaves out is a default: it reads the same
    assert msgspec.json.decode(again, type=type(first)) == first


def types_inside(value: Any) -> set[type]:
    """Every Struct met while walking a value."""
    if isinstance(value, Struct):
        found = {type(value)}
        for name in value.__struct_fields__:
            found |= types_inside(getattr(value, name))
        return found
    if isinstance(value, tuple):
        return {one for item in value for one in types_inside(item)}
    return set()


@pytest.mark.parametrize("version", VERSIONS)
def test_each_struct_of_a_version_and_each_of_its_fields_is_among_the_kept(version: int) -> None:
    own = {name: kept for name, kept in KEPT.items() if name.startswith(f"v{version}/")}
    seen = {one for kept in own.values() for one in types_inside(decoded(kept))}
    missing = [name for name in SHAPES[version]["structs"] if STRUCTS[name] not in seen]
    # a page and its numbered changes are walked; a change's body stays closed
    assert missing == []
    for kept in own.values():
        if not kept["struct"].startswith("change.") and "_least" not in kept:
            shape = SHAPES[version]["structs"][kept["struct"]]
            assert set(kept["body"]) <= {*shape["required"], *shape["optional"], "what"}


def test_every_version_has_its_kept_bodies_and_its_shape() -> None:
    assert VERSIONS[0] == 1
    for version in VERSIONS:
        assert any(name.startswith(f"v{version}/") for name in KEPT), version
    kept_versions = {int(path.name[1:]) for path in PAYLOADS.iterdir() if path.is_dir()}
    assert kept_versions == set(VERSIONS), "a folder for a version that BODY_V does not know"


# ---- how they may grow -----------------------------------------------------------------------------


CASES = [(version, name) for version in VERSIONS for name in SHAPES[version]["structs"]]


@pytest.mark.parametrize(("version", "name"), CASES)
def test_no_field_was_taken_away_or_renamed(version: int, name: str) -> None:
    shape = SHAPES[version]["structs"][name]
    now = {one.encode_name for one in fields(STRUCTS[name])}
    assert {*shape["required"], *shape["optional"]} <= now


@pytest.mark.parametrize(("version", "name"), CASES)
def test_no_new_field_must_be_sent_and_no_default_was_taken_away(version: int, name: str) -> None:
    must_now = {one.encode_name for one in fields(STRUCTS[name]) if one.required}
    assert must_now <= set(SHAPES[version]["structs"][name]["required"]), "a new field needs a default"


@pytest.mark.parametrize("version", VERSIONS)
def test_tags_mean_what_they_meant(version: int) -> None:
    for name, tag in SHAPES[version]["tags"].items():
        assert STRUCTS[name].__struct_config__.tag == tag, name
        assert STRUCTS[name].__struct_config__.tag_field == "what"


def values_of_choice(told: Any) -> list[Any]:
    """Every value of the choices in a field's type."""
    if isinstance(told, LiteralType):
        return list(told.values)
    if isinstance(told, Metadata):
        return values_of_choice(told.type)
    if isinstance(told, UnionType):
        return [value for one in told.types for value in values_of_choice(one)]
    return values_of_choice(told.item_type) if isinstance(told, VarTupleType) else []


def choices_now() -> dict[str, list[Any]]:
    """Each field that is a choice, with its values."""
    found = {}
    for name, one in STRUCTS.items():
        for field in type_info(one).fields:  # type: ignore[attr-defined]
            found[f"{name}.{field.encode_name}"] = values_of_choice(field.type)
    return found


@pytest.mark.parametrize("version", VERSIONS)
def test_no_value_of_a_choice_was_taken_away(version: int) -> None:
    now = choices_now()
    for field, values in SHAPES[version]["choices"].items():
        assert set(values) <= set(now[field]), field


def test_every_struct_is_frozen_strict_and_made_by_keyword() -> None:
    for name, one in STRUCTS.items():
        assert one.__struct_config__.frozen, name
        assert one.__struct_config__.forbid_unknown_fields, name
        with pytest.raises(TypeError, match="positional"):
            one("anything")


def test_everything_that_travels_by_itself_says_its_version() -> None:
    alone = [*FACT_TYPES.values(), *ENTITY_TYPES.values(), sheet.BenchSheet, opinion.Opinion, Added, FieldsSet, Removed]
    for one in alone:
        told = {field.name: field for field in fields(one)}
        assert "v" in told, one
        default, factory = told["v"].default, told["v"].default_factory
        assert default == BODY_V or (callable(factory) and factory() == BODY_V), one


# ---- an unknown field, and a newer body ------------------------------------------------------------


STRICT = [name for name in KEPT if name.startswith(f"v{BODY_V}/")]


@pytest.mark.parametrize("name", STRICT)
def test_an_unknown_field_is_refused_by_its_name(name: str) -> None:
    kept = KEPT[name]
    with pytest.raises(msgspec.ValidationError, match="unheard_of_field"):
        decoded({**kept, "body": {**kept["body"], "unheard_of_field": 1}})


@pytest.mark.parametrize(
    ("name", "inside", "path"),
    [
        ("v1/reading", ("touch",), r"\$\.touch"),
        ("v1/bench_sheet", ("board", "sockets", 0, "contacts", 0), r"\$\.board\.sockets\[0\]\.contacts\[0\]"),
        ("v1/change_page", ("changes", 0, "change"), r"\$\.changes\[0\]\.change"),
    ],
)
def test_an_unknown_field_deep_inside_is_refused_by_its_path(name: str, inside: tuple, path: str) -> None:
    kept = json.loads(json.dumps(KEPT[name]))
    place = kept["body"]
    for key in inside:
        place = place[key]
    place["unheard_of_field"] = 1
    with pytest.raises(msgspec.ValidationError, match=rf"unheard_of_field.*{path}"):
        decoded(kept)


def test_a_newer_body_is_carried_in_the_envelope_byte_for_byte() -> None:
    # spaces, order of keys, an escaped letter and a long number: as it came
    body = b'{ "v": 99,"what":"\\u0061dded", "kind":"x-ray","n":1.000000000000000001, "deep":{"b":1,"a":[]} }'
    text = (
        b'{"changes":[{"id":"c-1","device":"phone-1","device_seq":1,"hlc":"001767225600900-00003","body":'
        + body
        + b"}]}"
    )
    batch = msgspec.json.decode(text, type=ChangeBatch)
    assert bytes(batch.changes[0].body) == body
    assert body in msgspec.json.encode(batch)


def test_the_envelope_itself_takes_no_new_field() -> None:
    text = b'{"id":"c-1","device":"phone-1","device_seq":1,"hlc":"001767225600900-00003","body":{},"colour":"red"}'
    with pytest.raises(msgspec.ValidationError, match="colour"):
        msgspec.json.decode(text, type=Change)


# ---- the page of rules ----------------------------------------------------------------------------------


def test_the_rules_name_what_there_is() -> None:
    text = (Path(__file__).parents[2] / "shared_models" / "EVOLUTION.md").read_text()
    for named in ("BODY_V", "FACT_TYPES", "ENTITY_TYPES", "ChangeBatch", "BatchAnswer", "ChangePage"):
        assert named in text
        assert named == "BODY_V" or hasattr(change, named)
    assert len(text.splitlines()) < 80, "one page"
