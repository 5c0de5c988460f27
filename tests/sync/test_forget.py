"""An owner's words and pictures of a job that is gone for long leave the record, the log, the disk and the phones."""

import json
from collections.abc import Mapping
from pathlib import Path

import msgspec

from server.photos.files import PhotoFolder
from server.store import change_log, record
from server.store.database import FILE_NAME, Database
from server.sync.forget import DAY_MS, NOTES, OWNER_WORDS, forget_owners
from shared_models.change import FACT_TYPES
from shared_models.job import Intake, Job
from tests.sync.making import added, change, reading, removed
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
        photos = PhotoFolder(tmp_path)
        await fill(database)
        before = await whole_state(database)
        assert await forget_owners(database, photos, NOW_MS, 30) == 1
        after = await whole_state(database)
    gone = after["fields"]["job/job-1"]
    assert (gone["title"], gone["note"], gone["tray"]) == ("", "", "gone")
    assert gone["intake"] == {"opened_by": "", "in_their_words": "", "data_matters": "yes"}
    for untouched in ("job/job-2", "job/job-3"):
        assert after["fields"][untouched] == before["fields"][untouched]
    assert after["facts"] == before["facts"]


async def test_the_words_leave_the_log_and_the_disk(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        photos = PhotoFolder(tmp_path)
        await push(database, [job(1, OLD, tray="gone", **words()), job(1, OLD, note=f"{SECRET} again") | {
            "id": "phone-a-9", "device_seq": 9}])
        assert await forget_owners(database, photos, NOW_MS, 30) == 1
        async with database.reading() as connection:
            changes, _ = await change_log.page(connection, 0, 100, 1_000_000)
        assert len(changes) == 3 and SECRET not in str(msgspec.json.encode(changes))
        kept = b"".join(path.read_bytes() for path in tmp_path.glob(f"{FILE_NAME}*"))
        assert SECRET.encode() not in kept
        assert await forget_owners(database, photos, NOW_MS, 30) == 0, "it is done once"


async def test_a_phone_that_sends_the_whole_again_is_answered_and_brings_nothing_back(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        photos = PhotoFolder(tmp_path)
        sent = await fill(database)
        await forget_owners(database, photos, NOW_MS, 30)
        assert [one.result for one in (await push(database, sent)).answers] == ["had"] * 4
        async with database.reading() as connection:
            assert SECRET not in (await record.entity(connection, "job", "job-1"))["title"]


def photo(n: int, sha256: str, of: Mapping[str, object] | None = None) -> dict[str, object]:
    of = of or {"what": "job", "job_id": "job-1"}
    return {"id": f"photo-{n}", "of": of, "sha256": sha256, "mime": "image/jpeg", "size_bytes": 9, "width_px": 3,
            "height_px": 3, "taken_at_ms": OLD, "v": 1}


async def test_pictures_of_a_job_gone_for_long_leave_record_and_disk_unless_another_place_shows_them(
    tmp_path: Path,
) -> None:
    async with open_record(tmp_path) as database:
        photos = PhotoFolder(tmp_path)
        for letter in "abcd":
            (tmp_path / "photos" / (letter * 64)).write_bytes(b"a picture")
        healthy = {"what": "reference_board", "reference_board_id": "ref-1"}
        sent = [
            photo(1, "a" * 64), photo(2, "b" * 64), photo(3, "b" * 64, {"what": "job", "job_id": "job-3"}),
            photo(4, "c" * 64, healthy), photo(5, "d" * 64),
        ]
        seen = {"id": "o-1", "of": sent[0]["of"], "seen": "burnt", "contacts": ["12"], "photo_id": "photo-1",
                "seen_at_ms": OLD, "v": 1}
        bodies = [*(added(one, "photo") for one in sent), added(seen, "observation"), removed("photo-5", "photo")]
        changes = [{**change(20 + n, body), "hlc": f"{OLD:015d}-00000"} for n, body in enumerate(bodies)]
        changes += [job(1, OLD, tray="gone"), job(3, OLD, tray="ready")]
        assert {one.result for one in (await push(database, changes)).answers} == {"stored"}
        assert await forget_owners(database, photos, NOW_MS, 30) == 1
        facts = (await whole_state(database))["facts"]
        assert {key for key in facts if key.startswith("photo/")} == {"photo/photo-3", "photo/photo-4"}
        assert facts["observation/o-1"] == seen, "what was seen stays"
        assert {path.name[0] for path in (tmp_path / "photos").iterdir()} == {"b", "c"}
        assert await forget_owners(database, photos, NOW_MS, 30) == 0, "it is done once"
        (tmp_path / "photos" / ("a" * 64)).write_bytes(b"a picture")  # a phone that had it sent it once more
        assert await forget_owners(database, photos, NOW_MS, 30) == 0
        assert photos.find("a" * 64) is None


async def test_notes_beside_what_was_read_and_seen_are_emptied_and_the_readings_stay(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        photos = PhotoFolder(tmp_path)
        seen = {"id": "o-1", "of": {"what": "job", "job_id": "job-1"}, "seen": "wet", "contacts": ["12"],
                "seen_at_ms": OLD, "note": f"{SECRET} spilt tea", "v": 1}
        plain = reading("r-2", note="")
        noted = [reading("r-1", note=f"{SECRET} was on the phone"), seen, plain, reading("r-3", "job-3", note=SECRET)]
        kinds = ["reading", "observation", "reading", "reading"]
        sent = [{**change(20 + n, added(one, kind)), "hlc": f"{OLD:015d}-00000"} for n, (one, kind) in
                enumerate(zip(noted, kinds, strict=True))]
        await push(database, [*sent, job(1, OLD, tray="gone"), job(3, OLD, tray="ready")])
        assert await forget_owners(database, photos, NOW_MS, 30) == 1
        facts = (await whole_state(database))["facts"]
        assert facts["reading/r-1"] == reading("r-1", note="") and facts["reading/r-2"] == plain
        assert facts["observation/o-1"] == {**seen, "note": ""}
        assert facts["reading/r-3"]["note"] == SECRET, "that job is still here"
        async with database.reading() as connection:
            changes, _ = await change_log.page(connection, 0, 100, 1_000_000)
        assert str(msgspec.json.encode(changes)).count(SECRET) == 1
        assert [one.result for one in (await push(database, sent)).answers] == ["had"] * 4
        assert await forget_owners(database, photos, NOW_MS, 30) == 0, "it is done once"


def handed_over(job_id: str = "job-1") -> list[tuple[str, dict[str, object]]]:
    """What a job holds of an owner beside readings: who had it, what they signed, how it ended."""
    return [
        ("custody", {"id": f"cu-{job_id}", "job_id": job_id, "of": "storage", "event": "sanitised",
                     "sanitised": "purge", "from_whom": SECRET, "to_whom": f"{SECRET}'s son",
                     "method": f"as {SECRET} asked", "verified_how": f"shown to {SECRET}",
                     "note": f"{SECRET} looked on", "happened_at_ms": OLD, "noted_by": "Wren", "v": 1}),
        ("consent", {"id": f"co-{job_id}", "job_id": job_id, "to": "power_up", "given": True, "words": "It may start.",
                     "signed_name": SECRET, "strokes": [[731, 137, 732, 138]], "given_at_ms": OLD, "taken_by": "Wren",
                     "v": 1}),
        ("closing", {"id": f"cl-{job_id}", "job_id": job_id, "device": "works", "closed_at_ms": OLD,
                     "note": f"{SECRET} was glad", "v": 1}),
    ]


async def test_names_signatures_and_notes_of_handing_back_are_emptied_and_that_it_happened_stays(
    tmp_path: Path,
) -> None:
    async with open_record(tmp_path) as database:
        facts = [*handed_over(), *handed_over("job-3")]
        sent = [{**change(30 + n, added(one, kind)), "hlc": f"{OLD:015d}-00000"} for n, (kind, one) in enumerate(facts)]
        answers = (await push(database, [*sent, job(1, OLD, tray="gone"), job(3, OLD, tray="ready")])).answers
        assert {one.result for one in answers} == {"stored"}
        assert await forget_owners(database, PhotoFolder(tmp_path), NOW_MS, 30) == 1
        kept = (await whole_state(database))["facts"]
        (_, custody), (_, consent), (_, closing) = handed_over()
        names = dict.fromkeys(("from_whom", "to_whom", "method", "verified_how", "note"), "")
        assert kept["custody/cu-job-1"] == {**custody, **names}
        assert kept["consent/co-job-1"] == {**consent, "signed_name": "", "strokes": []}
        assert kept["closing/cl-job-1"] == {**closing, "note": ""}
        assert kept["consent/co-job-3"]["signed_name"] == SECRET, "that job is still here"
        async with database.reading() as connection:
            changes, _ = await change_log.page(connection, 0, 100, 1_000_000)
        log = msgspec.json.encode(changes).decode().replace(", ", ",")
        assert (log.count(SECRET), log.count("731,137")) == (7, 1), "only those of the job that is still here"
        assert [one.result for one in (await push(database, sent)).answers] == ["had"] * 6
        assert await forget_owners(database, PhotoFolder(tmp_path), NOW_MS, 30) == 0, "it is done once"


async def test_a_healthy_boards_job_has_no_owner_and_keeps_its_words(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        await push(database, [job(1, OLD, tray="gone", reference_board_id="ref-1", **words())])
        assert await forget_owners(database, PhotoFolder(tmp_path), NOW_MS, 30) == 0


async def test_a_phone_that_has_forgotten_is_answered_by_a_restored_record_that_has_not(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        [first, *_] = await fill(database)
        forgetful = json.loads(json.dumps(first))
        fields = forgetful["body"]["fields"]
        fields.update(title="", note="", intake={**fields["intake"], "opened_by": "", "in_their_words": ""})
        assert [one.result for one in (await push(database, [forgetful])).answers] == ["had"]
        fields["tray"] = "ready"
        assert [one.result for one in (await push(database, [forgetful])).answers] == ["refused"]
        async with database.reading() as connection:
            assert SECRET in (await record.entity(connection, "job", "job-1"))["title"]


async def test_a_clock_that_was_ahead_keeps_nothing_from_being_forgotten(tmp_path: Path) -> None:
    async with open_record(tmp_path) as database:
        photos = PhotoFolder(tmp_path)
        await push(database, [job(1, OLD, tray="gone"), job(1, NOW_MS + DAY_MS, **words()) | {
            "id": "phone-a-9", "device_seq": 9}])
        assert await forget_owners(database, photos, NOW_MS, 30) == 1
        assert SECRET not in str(await whole_state(database))


def test_what_is_forgotten_are_fields_that_exist_and_hold_free_words() -> None:
    whole = msgspec.json.decode(msgspec.json.encode({name: getattr(Job(id="j"), name) for name in OWNER_WORDS}))
    assert set(OWNER_WORDS) <= set(Job.__struct_fields__) and whole["title"] == whole["note"] == ""
    assert set(OWNER_WORDS["intake"] or ()) <= set(Intake.__struct_fields__)
    for kind, notes in NOTES.items():
        assert set(notes) <= set(FACT_TYPES[kind].__struct_fields__)


def test_every_free_word_of_handing_back_is_forgotten_or_known_to_be_about_no_owner() -> None:
    about_no_owner = {"custody": {"id", "job_id", "noted_by"}, "consent": {"id", "job_id", "words", "taken_by"}}
    for kind, harmless in about_no_owner.items():
        free = {one.name for one in msgspec.structs.fields(FACT_TYPES[kind]) if _is_free_text(one.type)}
        assert free - harmless == set(NOTES[kind]) - {"strokes"}, kind


def _is_free_text(kind: object) -> bool:
    return isinstance(msgspec.inspect.type_info(kind), msgspec.inspect.StrType)
