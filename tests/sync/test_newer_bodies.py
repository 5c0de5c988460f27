"""Old server, new phone, then the server is updated: the same state as if they had never been mixed."""

import json
from pathlib import Path

import msgspec
import pytest
from msgspec import Raw

from server.sync.accept import Vocabulary
from server.sync.exchange import hand_out, take_batch
from shared_models.base import BODY_V
from shared_models.change import ENTITY_TYPES, FACT_TYPES, Added, FieldsSet, Removed
from shared_models.job import Job
from shared_models.reading import Reading
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state

NEWER_V = BODY_V + 1


class ReadingOfTomorrow(Reading, frozen=True, kw_only=True):
    """A reading with a field that today's server has never heard of."""

    humidity_pct: float | None = None


class JobOfTomorrow(Job, frozen=True, kw_only=True):
    """A job with one more field."""

    shelf: str = ""


TOMORROW = Vocabulary(
    body_v=NEWER_V, facts={**FACT_TYPES, "reading": ReadingOfTomorrow}, entities={**ENTITY_TYPES, "job": JobOfTomorrow}
)
MIXED = [
    change(1, fields_set({"title": "T10", "note": "by post"})),
    change(2, added(reading("r-old"))),
    change(1, added(reading("r-new", humidity_pct=41.5, v=NEWER_V), v=NEWER_V), "phone-new"),
    change(2, fields_set({"title": "newer title", "shelf": "B3"}, v=NEWER_V), "phone-new", hlc_ms=1_767_225_600_900),
    change(3, fields_set({"title": "edited by the old phone later"}), hlc_ms=1_767_225_600_950),
    change(3, added(reading("r-gone", humidity_pct=1, v=NEWER_V), v=NEWER_V), "phone-new"),
    change(4, removed("r-gone")),
]


def test_a_body_written_by_our_own_structs_always_says_its_version() -> None:
    """Left out as a default, it would be read as version 1 for ever after the first raise."""
    edit, taken_back = FieldsSet(kind="job", id="job-1", fields={}), Removed(kind="job", id="job-1")
    for body in (Added(kind="reading", record=Raw(b"{}")), edit, taken_back):
        assert msgspec.json.decode(msgspec.json.encode(body))["v"] == BODY_V


async def test_a_newer_body_is_stored_closed_numbered_and_handed_on_byte_for_byte(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        answer = await push(database, MIXED)
        assert [(one.result, one.seq) for one in answer.answers] == [
            ("stored", 1), ("stored", 2), ("stored_newer", 3), ("stored_newer", 4), ("stored", 5),
            ("stored_newer", 6), ("stored", 7),
        ]
        page = await hand_out(database, 2, 2)
        sent = [json.dumps(one["body"]).encode() for one in MIXED[2:4]]
        assert [bytes(one.change.body) for one in page.changes] == sent
        state = await whole_state(database)
        assert "reading/r-new" not in state["facts"] and state["newer"] == ["phone-new-1", "phone-new-2", "phone-new-3"]
        assert (await push(database, [MIXED[2]])).answers[0].result == "had"


async def test_after_the_update_the_state_is_as_if_never_mixed(tmp_path: Path) -> None:
    async with open_record(tmp_path / "mixed") as database:
        await push(database, MIXED)
    async with open_record(tmp_path / "mixed", TOMORROW) as database:
        after_update = await whole_state(database)
    async with open_record(tmp_path / "never", TOMORROW) as database:
        await push(database, MIXED, TOMORROW)
        assert after_update == await whole_state(database)
    assert after_update["facts"]["reading/r-new"]["humidity_pct"] == 41.5
    assert after_update["fields"]["job/job-1"] == {
        "title": "edited by the old phone later", "note": "by post", "shelf": "B3",
    }
    assert after_update["newer"] == [] and "reading/r-gone" not in after_update["facts"]


async def test_the_update_applies_each_body_once(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, MIXED)
    states = []
    for _ in range(2):
        async with open_record(tmp_path, TOMORROW) as database:
            states.append(await whole_state(database))
    assert states[0] == states[1]


async def test_a_kept_body_that_turns_out_wrong_stays_in_the_log_and_stops_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    wrong = change(1, added(reading("r-1", kind="no such kind", v=NEWER_V), v=NEWER_V), "phone-new")
    right = change(2, added(reading("r-2", v=NEWER_V), v=NEWER_V), "phone-new")
    async with open_record(tmp_path) as database:
        await push(database, [wrong, right])
    async with open_record(tmp_path, TOMORROW) as database:
        state = await whole_state(database)
        assert list(state["facts"]) == ["reading/r-2"] and state["newer"] == ["phone-new-1"]
        assert len((await hand_out(database, 0, 10)).changes) == 2
    assert "phone-new-1" in caplog.text and "body.record.kind" in caplog.text


@pytest.mark.parametrize("body", ['{"what":"x","v":9,"text":"\\ud800"}', '{"what":"x","v":9,"n":1e999}'])
async def test_a_newer_body_that_no_reader_could_open_is_refused(tmp_path: Path, body: str) -> None:
    raw = json.dumps({**change(1, None), "body": "HERE"}).replace('"HERE"', body)
    async with open_record(tmp_path) as database:
        [answer] = (await take_batch(database, [Raw(raw.encode())], Vocabulary())).answers
        assert answer.result == "refused" and answer.problem is not None and answer.problem.where
        assert answer.id == "phone-a-1"
