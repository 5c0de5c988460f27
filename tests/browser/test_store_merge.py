"""The merge rule exists twice: drawn changes give one record on the server and, in any order, on the phone."""

import itertools
import json
import sqlite3
from contextlib import closing
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from playwright.sync_api import Page

from tests.browser.server_process import ServerProcess

WORDS = st.sampled_from(["", "a", "b", "ü", "OL"])
# few names and few moments, so that changes meet
FACT, ENTITY = st.just("f1"), st.sampled_from(["e1", "e2"])
runs = itertools.count()


def fact(prefix: str, name: str, word: str) -> dict[str, Any]:
    return {
        "id": f"{prefix}{name}", "of": {"what": "job", "job_id": "job"}, "seen": "bent", "place": word, "seen_at_ms": 1,
    }


BODIES = st.one_of(
    st.builds(lambda name, word: ("added", "observation", name, word), FACT, WORDS),
    st.builds(
        lambda kind, name, fields: ("fields_set", kind, name, fields),
        st.just("job"), ENTITY, st.dictionaries(st.sampled_from("ab"), WORDS, min_size=1),
    ),
    st.builds(lambda name: ("removed", "observation", name, None), FACT),
    st.builds(lambda kind, name: ("removed", kind, name, None), st.sampled_from(["job", "meter"]), st.just("e2")),
    st.just(("newer", "job", "e1", None)),
)
STAMPED = st.tuples(st.integers(0, 1), st.sampled_from(["one", "two"]), BODIES)
FIELDS = {"job": {"a": "title", "b": "note"}}


def body_of(prefix: str, drawn: tuple[str, str, str, Any]) -> dict[str, Any]:
    what, kind, name, value = drawn
    if what == "added":
        return {"what": what, "kind": kind, "record": fact(prefix, name, value), "v": 1}
    if what == "fields_set":
        fields = {FIELDS[kind][each]: word for each, word in value.items()}
        return {"what": what, "kind": kind, "id": prefix + name, "fields": fields, "v": 1}
    if what == "removed":
        return {"what": what, "kind": kind, "id": prefix + name, "v": 1}
    return {"what": "fields_set", "kind": kind, "id": prefix + name, "fields": {"mood": 1}, "v": 99}


def changes_of(prefix: str, drawn: list[tuple[int, str, tuple[str, str, str, Any]]]) -> list[dict[str, Any]]:
    return [
        {
            "id": f"{prefix}c{n}", "device": f"{prefix}{device}", "device_seq": n, "actor": "",
            "hlc": f"{time:015d}-00000", "body": body_of(prefix, body),
        }
        for n, (time, device, body) in enumerate(drawn, start=1)
    ]


def state_of_server(server: ServerProcess, prefix: str) -> dict[str, Any]:
    """The server's record, of the ids with the prefix, as the vectors write it down."""
    path = server.data_dir / "record.sqlite3"
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as record:
        mine = f"{prefix}%"
        state: dict[str, Any] = {"facts": {}, "fields": {}}
        for kind, name, text in record.execute("SELECT kind, id, record FROM visible_fact WHERE id LIKE ?", (mine,)):
            state["facts"][f"{kind}/{name}"] = json.loads(text)
        rows = record.execute("SELECT kind, id, name, value FROM visible_field WHERE id LIKE ?", (mine,))
        for kind, name, field, text in rows:
            state["fields"].setdefault(f"{kind}/{name}", {})[field] = json.loads(text)
        removed = record.execute("SELECT kind || '/' || id FROM removed WHERE id LIKE ?", (mine,))
        newer = record.execute("SELECT id FROM change WHERE applied = 0 AND id LIKE ?", (mine,))
        return {**state, "removed": sorted(row[0] for row in removed), "newer": sorted(row[0] for row in newer)}


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=st.lists(STAMPED, min_size=2, max_size=10), data=st.data())
def test_phone_and_server_come_to_one_record_from_any_order(
    bare_page: Page, bare_server: ServerProcess, drawn: list[Any], data: st.DataObject
) -> None:
    prefix = f"r{next(runs)}-"
    changes = changes_of(prefix, drawn)
    answers = bare_server.post("/api/changes", {"changes": changes})["answers"]
    assert {answer["result"] for answer in answers} <= {"stored", "stored_newer"}
    wanted = state_of_server(bare_server, prefix)
    for order in (changes[::-1], data.draw(st.permutations([*changes, *changes[:2]]))):
        assert bare_page.evaluate("(changes) => inside.stateAfter(changes)", order) == wanted
