"""An owner's words of a job that is gone for long leave the record, the log, the disk and, by a change, the phones."""

from pathlib import Path

import msgspec

from server.store import change_log, record
from server.store.database import FILE_NAME, Database
from server.sync.forget import DAY_MS, OWNER_WORDS, forget_owners
from shared_models.job import Intake, Job
from tests.sync.making import added, change, reading
from tests.sync.rig import open_record, push, whole_state

NOW_MS = 1_800_000_000_000
OLD, FRESH = NOW_MS - 100 * DAY_MS, NOW_MS - 2 * DAY_MS
SECRET = "Mrs Quillfeather"


def job(n: int, stamp_ms: int, **fields: object) -> dict[str, object]:
    body = {"what": "fields_set", "kind": "job", "id": f"job-{n}", "fields": fields, "v": 1}
    return {**change(n, body), "hlc": f"{stamp_ms:015d}-00000"}


def words() -> dict[str, object]:
    intake = {"opened_by": SECRET, "in_their_words": f"{SECRET} dropped it", "data_matters": "yes"}
    return {"title": f"{SECRET}'s tablet", "note": f"call {SECRET}", "intake": intake}


async def fill(database: Database) -> list[dict[str, object]]:
    """One job gone for long, one gone just now, one still here; and a reading of the first."""
    sent = [
        job(1, OLD, tray="gone", **words()), job(2, FRESH, tray="gone", **words()),
        job(3, OLD, tray="ready", **words()),
        {**change(4, added(reading("r-1"))), "hlc": f"{OLD:015d}-00001"},
    ]
    assert {one.result for one in (await push(database, sent)).answers} == {"stored"}
    return sent


async def test_words_of_a_job_gone_for_long_are_emptied_and_what_was_measured_stays(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await fill(database)
        before = await whole_state(database)
        assert await forget_owners(database, NOW_MS, 30) == 1
        after = await whole_state(database)
    gone = after["fields"]["job/job-1"]
    assert (gone["title"], gone["note"], gone["tray"]) == ("", "", "gone")
    assert gone["intake"] == {"opened_by": "", "in_their_words": "", "data_matters": "yes"}
    for untouched in ("job/job-2", "job/job-3"):
        assert after["fields"][untouched] == before["fields"][untouched]
    assert after["facts"] == before["facts"]


async def test_the_words_leave_the_log_and_the_disk(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [job(1, OLD, tray="gone", **words()), job(1, OLD, note=f"{SECRET} again") | {
            "id": "phone-a-9", "device_seq": 9}])
        assert await forget_owners(database, NOW_MS, 30) == 1
        async with database.reading() as connection:
            changes, _ = await change_log.page(connection, 0, 100, 1_000_000)
        assert len(changes) == 3 and SECRET not in str(msgspec.json.encode(changes))
        kept = b"".join(path.read_bytes() for path in tmp_path.glob(f"{FILE_NAME}*"))
        assert SECRET.encode() not in kept
        assert await forget_owners(database, NOW_MS, 30) == 0, "it is done once"


async def test_a_phone_that_sends_the_whole_again_is_answered_and_brings_nothing_back(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        sent = await fill(database)
        await forget_owners(database, NOW_MS, 30)
        assert [one.result for one in (await push(database, sent)).answers] == ["had"] * 4
        async with database.reading() as connection:
            assert SECRET not in (await record.entities(connection, "job"))["job-1"]["title"]


async def test_a_clock_that_was_ahead_keeps_nothing_from_being_forgotten(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [job(1, OLD, tray="gone"), job(1, NOW_MS + DAY_MS, **words()) | {
            "id": "phone-a-9", "device_seq": 9}])
        assert await forget_owners(database, NOW_MS, 30) == 1
        assert SECRET not in str(await whole_state(database))


def test_what_is_forgotten_are_fields_that_exist_and_hold_free_words() -> None:
    whole = msgspec.json.decode(msgspec.json.encode({name: getattr(Job(id="j"), name) for name in OWNER_WORDS}))
    assert set(OWNER_WORDS) <= set(Job.__struct_fields__) and whole["title"] == whole["note"] == ""
    assert set(OWNER_WORDS["intake"] or ()) <= set(Intake.__struct_fields__)
