"""What a device is promised about its changes: taken once, answered one by one, handed out in order."""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest
from msgspec import Raw

from server.sync.accept import Vocabulary
from server.sync.exchange import hand_out, take_batch
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state


async def test_a_change_is_stored_and_numbered(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        answer = await push(database, [change(1, added(reading())), change(2, fields_set({"title": "T10"}))])
        assert [(one.id, one.result, one.seq) for one in answer.answers] == [
            ("phone-a-1", "stored", 1), ("phone-a-2", "stored", 2),
        ]
        assert await whole_state(database) == {
            "facts": {"reading/r-1": reading()}, "fields": {"job/job-1": {"title": "T10"}}, "removed": [], "newer": [],
        }


async def test_a_repeat_is_answered_had_with_its_first_number_and_changes_nothing(tmp_path: Path) -> None:
    sent = [change(1, added(reading())), change(2, fields_set({"title": "T10"}))]
    async with open_record(tmp_path) as database:
        await push(database, sent)
        before = await whole_state(database)
        again = await push(database, [sent[1], sent[0], sent[0]])
        assert [(one.result, one.seq) for one in again.answers] == [("had", 2), ("had", 1), ("had", 1)]
        assert await whole_state(database) == before
        assert len((await hand_out(database, 0, 100)).changes) == 2


async def test_a_repeat_inside_one_batch_is_stored_once(tmp_path: Path) -> None:
    one = change(1, added(reading()))
    async with open_record(tmp_path) as database:
        assert [answer.result for answer in (await push(database, [one, one])).answers] == ["stored", "had"]


async def test_a_body_written_anew_with_other_spaces_and_order_is_the_same_change(tmp_path: Path) -> None:
    one = change(1, fields_set({"title": "T10", "note": "wet"}))
    other = {**one, "body": dict(reversed(one["body"].items()))}
    assert json.dumps(one) != json.dumps(other)
    async with open_record(tmp_path) as database:
        await push(database, [one])
        assert (await push(database, [other])).answers[0].result == "had"


@pytest.mark.parametrize(("altered", "where"), [
    ({"body": fields_set({"title": "another"})}, "id"),
    ({"hlc": "001767225600099-00000"}, "id"),
    ({"actor": "Finch"}, "id"),
    ({"device_seq": 77}, "id"),
    ({"device": "phone-b"}, "id"),
    ({"id": "another-id"}, "device_seq"),
])
async def test_a_stored_change_is_never_replaced(tmp_path: Path, altered: dict[str, Any], where: str) -> None:
    first = change(1, fields_set({"title": "T10"}))
    async with open_record(tmp_path) as database:
        await push(database, [first])
        [answer] = (await push(database, [{**first, **altered}])).answers
        assert answer.result == "refused" and answer.problem is not None and answer.seq is None
        assert answer.problem.where == where
        assert answer.problem.code == {"id": "id_taken", "device_seq": "device_seq_taken"}[where]
        assert answer.problem.given and answer.problem.expected and answer.problem.example
        assert (await whole_state(database))["fields"] == {"job/job-1": {"title": "T10"}}


async def test_a_batch_half_wrong_stores_the_good_half(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        answer = await push(database, [
            change(1, added(reading("r-1"))),
            {"id": "half", "device": "phone-a"},                         # an envelope that is not one
            change(3, added(reading("r-3", touch={"what": "contact", "contact": "#"}))),
            change(4, added(reading("r-4"))),
            "not even an object",
            change(6, removed("r-1")),
        ])
        assert [one.result for one in answer.answers] == ["stored", "refused", "refused", "stored", "refused", "stored"]
        assert [one.id for one in answer.answers] == ["phone-a-1", "half", "phone-a-3", "phone-a-4", "", "phone-a-6"]
        assert answer.answers[2].problem is not None
        assert answer.answers[2].problem.where == "body.record.touch.contact"
        assert answer.answers[2].problem.given == '"#"'
        state = await whole_state(database)
        assert list(state["facts"]) == ["reading/r-4"] and state["removed"] == ["reading/r-1"]


async def test_a_refused_change_may_be_sent_again_once_it_is_mended(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        wrong, mended = change(1, added(reading(kind="dorp"))), change(1, added(reading()))
        assert (await push(database, [wrong])).answers[0].result == "refused"
        assert (await push(database, [mended])).answers[0].result == "stored"


async def test_pages_follow_the_cursor_to_the_end_without_gap_or_double(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [change(n, fields_set({"title": f"t{n}"})) for n in range(1, 24)])
        after, seen = 0, []
        while True:
            page = await hand_out(database, after, 5)
            seen += [one.seq for one in page.changes]
            assert len(page.changes) <= 5 and page.epoch == await database.epoch()
            after = page.next_after
            if not page.more:
                break
        assert seen == list(range(1, 24))
        empty = await hand_out(database, after, 5)
        assert (empty.changes, empty.next_after, empty.more) == ((), 23, False)


async def test_a_page_of_large_bodies_stays_small_and_still_moves_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.sync.exchange.PAGE_BODY_BYTES", 3000)
    async with open_record(tmp_path) as database:
        await push(database, [change(n, fields_set({"note": "x" * 1400})) for n in range(1, 8)])
        sizes, after, more = [], 0, True
        while more:
            page = await hand_out(database, after, 100)
            sizes.append(len(page.changes))
            after, more = page.next_after, page.more
        assert sizes == [3, 3, 1]


async def test_bodies_are_handed_out_as_they_were_sent(tmp_path: Path) -> None:
    body = '{ "what":"fields_set", "kind":"job","id":"job-1",  "fields":{"title":"\\u00e9 µ"},"v":1 }'
    envelope = change(1, None)
    raw = json.dumps({**envelope, "body": "HERE"}).replace('"HERE"', body)
    async with open_record(tmp_path) as database:
        assert (await take_batch(database, [Raw(raw.encode())], Vocabulary())).answers[0].result == "stored"
        page = await hand_out(database, 0, 1)
        assert bytes(page.changes[0].change.body) == body.encode()


async def test_no_reader_passes_a_number_that_is_still_to_be_committed(tmp_path: Path) -> None:
    """Several devices push while one reader follows the cursor: it sees every number once, in order."""
    async with open_record(tmp_path) as database:
        async def device(name: str) -> None:
            for n in range(1, 31, 3):
                numbers = range(n, n + 3)
                await push(database, [change(m, fields_set({"title": f"{m}"}), name) for m in numbers])

        async def follow() -> list[int]:
            seen: list[int] = []
            while len(seen) < 120:
                page = await hand_out(database, seen[-1] if seen else 0, 7)
                seen += [one.seq for one in page.changes]
                await asyncio.sleep(0)
            return seen

        *_, seen = await asyncio.gather(*(device(f"phone-{letter}") for letter in "abcd"), follow())
        assert seen == list(range(1, 121))


async def test_a_stamp_far_ahead_is_stored_as_it_is_and_the_answer_tells_the_time(tmp_path: Path) -> None:
    ahead = change(1, fields_set({"title": "from the year 2100"}), hlc_ms=4_102_444_800_000)
    async with open_record(tmp_path) as database:
        answer = await push(database, [ahead])
        assert answer.answers[0].result == "stored"
        assert 1_700_000_000_000 < answer.server_ms < 4_102_444_800_000
        assert (await hand_out(database, 0, 1)).changes[0].change.hlc == "004102444800000-00000"


async def test_the_record_and_its_epoch_survive_a_restart(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [change(1, added(reading()))])
        before, epoch = await whole_state(database), await database.epoch()
    async with open_record(tmp_path) as database:
        assert (await whole_state(database), await database.epoch()) == (before, epoch)
        assert (await push(database, [change(1, added(reading()))])).answers[0].seq == 1
        assert (await push(database, [change(2, added(reading("r-2")))])).answers[0].seq == 2
