"""The record in a shop's own PostgreSQL: all of it, once, whatever comes between, from as many shops as there are."""

import asyncio
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest

from server.photos.files import PhotoFolder
from server.shop import push as pushing
from server.store.copies import make_another
from server.store.database import FILE_NAME
from server.store.shop_database import STEPS_DIR, ShopDatabase, ShopDatabaseUnusable
from server.store.shop_views import reading_only, source_of
from server.sync.forget import DAY_MS, forget_owners
from shared_models.base import BODY_V
from tests.shop.conftest import new_database
from tests.shop.rig import asked, content, copy, exported
from tests.support.postgres import PostgresProcess
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push
from tests.sync.test_newer_bodies import TOMORROW

PHOTO = {
    "id": "p-1", "of": {"what": "job", "job_id": "t10-cold"}, "sha256": "a" * 64, "mime": "image/jpeg",
    "size_bytes": 4000, "width_px": 64, "height_px": 48, "taken_at_ms": 1_767_225_600_000, "v": 1,
}


async def send(record: Path, *changes: dict[str, Any]) -> None:
    """Changes from a phone into the record."""
    async with open_record(record) as database:
        answer = await push(database, changes)
        assert {one.result for one in answer.answers} <= {"stored", "stored_newer"}, answer


async def test_every_row_of_the_record_is_there_with_every_value(record: Path, address: str) -> None:
    odd = reading("r-odd", "t10-cold", note="µ Ω 'quote' \"two\" \\ ; -- %s {}", lead_on_ground=None, as_typed="4k7",
                  kind="ohms", display_unit="ohm")
    await send(
        record, change(1, added(PHOTO, "photo")), change(2, added(odd)), change(3, removed("r-odd", why="wrong leads"))
    )
    pushed = await copy(record, address, with_opinions=True)
    there = content(address)
    assert there == await exported(record, with_opinions=True)
    counts = {table: len(rows) for table, rows in there.items() if rows and table not in ("opinion", "verdict")}
    assert counts == pushed.rows and pushed.refused == 0
    assert min(len(there[table]) for table in ("job", "reading", "opinion", "verdict", "photo")) >= 1
    found = there["reading"]["r-odd"]
    assert (found["note"], found["lead_on_ground"], found["is_removed"], found["removed_why"]) == (
        odd["note"], None, True, "wrong leads")
    assert (found["as_typed"], found["value_kind"], found["ohm"]) == ("4k7", "ohms", 4700.0)
    [(taken_at,)] = asked(address, "SELECT taken_at::text FROM second_probe.photo")
    assert taken_at.startswith("2026-01-01 00:00:00")
    await send(record, change(4, added(reading("r-new", "t10-cold"))))
    again = await copy(record, address, with_opinions=True)
    assert (again.rows, again.opinions) == ({"reading": 1}, 1), "only the job that was touched is judged anew"
    assert content(address)["opinion"] != there["opinion"]
    assert asked(address, "SELECT tray, was_read_after FROM second_probe.outcome WHERE job_id = 'v2-torn'") == [
        ("ready", True)]


VISIT = {
    "power_check": {"check": "leads_on_output_off", "done": True, "limit_ma": 300.0,
                    "checked_at_ms": 1_767_225_600_000},
    "rail_point": {"rail": "3V3D", "place": "C12", "mv": 21.5, "is_injection": True, "taken_at_ms": 1_767_225_600_000},
    "custody": {"of": "device", "event": "received", "from_whom": "the owner", "happened_at_ms": 1_767_225_600_000},
    "consent": {"to": "power_up", "given": True, "words": "May be powered.", "signed_name": "the owner",
                "strokes": [[1, 2, 3, 4]], "given_at_ms": 1_767_225_600_000},
    "closing": {"was_wrong": [{"story": "plug_off_by", "subject": "-1", "how_known": "measured"}],
                "did": ["replace_part"], "device": "works", "data": "safe", "closed_at_ms": 1_767_225_600_000},
}


async def test_the_end_of_a_visit_is_there_too_and_which_of_two_closings_holds(record: Path, address: str) -> None:
    facts = [added({"id": f"{kind}-1", "job_id": "t10-cold", **fact, "v": 1}, kind) for kind, fact in VISIT.items()]
    other = {**VISIT["closing"], "id": "closing-2", "job_id": "t10-cold", "device": "does_not_work", "v": 1}
    figures = fields_set({"currency": "EUR", "hour_cost": 60, "options": [{"option": "stop"}]}, "shop", "shop")
    await send(record, *(change(n, body) for n, body in enumerate([*facts, added(other, "closing"), figures], 1)))
    await copy(record, address)
    there = content(address)
    assert there == await exported(record)
    assert there["consent"]["consent-1"]["to"] == "power_up" and "strokes" not in there["consent"]["consent-1"]
    assert there["power_check"]["power_check-1"]["check"] == "leads_on_output_off"
    assert (there["figures"]["shop"]["currency"], there["figures"]["shop"]["learn"]) == ("EUR", True)
    holds = "SELECT closings, device FROM second_probe.outcome WHERE job_id = 't10-cold'"
    assert asked(address, holds) == [(2, "does_not_work")], "they disagree, and that is said"
    settling = {**other, "id": "closing-3", "device": "works", "supersedes": ["closing-1", "closing-2"]}
    await send(record, change(9, added(settling, "closing")))
    await copy(record, address)
    assert asked(address, holds) == [(1, "works")]


async def test_a_second_run_copies_only_what_is_new_and_a_repeat_changes_nothing(
    record: Path, address: str, postgres: PostgresProcess
) -> None:
    await copy(record, address)
    assert (await copy(record, address)).rows == {}
    await send(
        record, change(1, fields_set({"title": "Renamed", "tray": "ready"}, "t10-cold")),
        change(2, added(reading("r-new", "t10-cold"))), change(3, removed("r-new")),
        change(4, removed("r-never", why="before it comes")), change(5, added(reading("r-never", "no-such-job-yet"))),
    )
    pushed = await copy(record, address)
    assert pushed.changes == 5 and pushed.rows == {"job": 1, "reading": 2}
    there = content(address)
    assert there["job"]["t10-cold"]["title"] == "Renamed" and there["reading"]["r-never"]["is_removed"]
    afresh = new_database(postgres)
    await copy(record, afresh)
    assert there == content(afresh) == await exported(record)
    assert (await copy(record, address)).rows == {} and content(address) == there


async def test_a_database_that_goes_away_half_way_keeps_whole_pages_and_goes_on_from_there(
    record: Path, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pushing, "CHANGES_AT_ONCE", 60)
    told: list[tuple[str, int]] = []

    def cut_after_three(what: str, done: int, _of: int) -> None:
        told.append((what, done))
        if len(told) % 3 == 0:
            asked(address, "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                           " WHERE datname = current_database() AND pid <> pg_backend_pid()")

    cuts = 0
    for _ in range(20):
        try:
            await copy(record, address, told=cut_after_three)
            break
        except psycopg.OperationalError:
            cuts += 1
            [(copied_to,)] = asked(address, "SELECT copied_to_seq FROM second_probe.branch")
            assert copied_to == max(done for what, done in told if what == "changes"), "half a page was kept"
    assert cuts >= 5
    assert content(address) == await exported(record)
    done = [done for what, done in told if what == "changes"]
    assert done == sorted(set(done)), "a page that was there was copied again"


async def test_two_runs_at_once_for_one_branch_copy_everything_once(
    record: Path, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pushing, "CHANGES_AT_ONCE", 100)
    both = await asyncio.gather(*(
        asyncio.to_thread(asyncio.run, copy(record, address)) for _ in range(2)
    ))
    there = content(address)
    assert sum(sum(one.rows.values()) for one in both) == sum(map(len, there.values()))
    assert there == await exported(record)


async def test_several_shops_share_one_database_and_keep_apart_what_has_one_name(
    record: Path, address: str, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    await send(other, change(1, fields_set({"title": "Another shop's"}, "t10-cold")), change(2, added(reading("r-1"))))
    await copy(record, address, "harbour")
    before = content(address, "harbour")
    await copy(other, address, "station")
    assert content(address, "harbour") == before
    assert content(address, "station") == await exported(other)
    with pytest.raises(ShopDatabaseUnusable, match="Another record") as refused:
        await copy(other, address, "harbour")
    assert "--branch" in refused.value.do and content(address, "harbour") == before
    await copy(other, address, "harbour", begun_anew=True)
    assert content(address, "harbour")["job"]["t10-cold"]["title"] == "Another shop's"
    assert (await copy(other, address, "harbour")).rows == {}


async def test_a_restored_record_is_copied_again_and_comes_to_the_same(record: Path, address: str) -> None:
    await send(record, change(1, fields_set({"title": "Before", "note": "kept"}, "t10-cold")))
    backup = (record / FILE_NAME).read_bytes()
    lost = change(2, fields_set({"title": "After"}, "t10-cold"))
    await send(record, lost)
    await copy(record, address)
    (record / FILE_NAME).write_bytes(backup)
    make_another(record / FILE_NAME, None)
    other = change(1, fields_set({"note": "since"}, "t10-cold"), "phone-b")
    await send(record, other)
    await copy(record, address)
    await send(record, lost)
    await copy(record, address)
    there = content(address)
    assert (there["job"]["t10-cold"]["title"], there["job"]["t10-cold"]["note"]) == ("After", "since")
    assert there == await exported(record)


async def test_what_a_newer_app_made_is_copied_once_the_server_can_read_it(record: Path, address: str) -> None:
    await copy(record, address)
    newer = {**reading("r-newer", "t10-cold"), "v": BODY_V + 1}
    await send(record, change(1, added(newer, v=BODY_V + 1)), change(2, added(reading("r-plain", "t10-cold"))))
    await copy(record, address)
    assert "r-newer" not in content(address)["reading"] and "r-plain" in content(address)["reading"]
    assert asked(address, "SELECT count(*) FROM second_probe.closed_change") == [(1,)]
    async with open_record(record, TOMORROW):
        pass
    pushed = await copy(record, address)
    assert pushed.rows == {"reading": 1} and "r-newer" in content(address)["reading"]
    assert asked(address, "SELECT count(*) FROM second_probe.closed_change") == [(0,)]


async def test_older_tables_are_brought_forward_and_filled(record: Path, address: str, tmp_path: Path) -> None:
    steps = tmp_path / "steps"
    steps.mkdir()
    first = next(STEPS_DIR.glob("001_*.sql"))
    (steps / first.name).write_bytes(first.read_bytes())
    async with reading_only(record) as connection:
        source = await source_of(connection)
    with closing(ShopDatabase.open(address, steps)) as shop, shop.branch("shop", source) as branch:
        branch.put("meter", [{"id": "m-of-then", "name": "as the version of then copied it", "is_removed": False,
                              "seq": 1}])
        branch.moved_to(source.newest_seq)
    assert asked(address, "SELECT to_regclass('second_probe.opinion')") == [(None,)]
    await copy(record, address, with_opinions=True)
    assert content(address)["meter"].pop("m-of-then")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("DELETE FROM second_probe.meter WHERE id = 'm-of-then'")
    assert content(address) == await exported(record, with_opinions=True)


async def test_tables_of_a_newer_version_are_left_alone(record: Path, address: str) -> None:
    await copy(record, address)
    asked(address, "INSERT INTO second_probe.step VALUES (99, 'later') RETURNING 1")
    before = content(address)
    await send(record, change(1, added(reading("r-new", "t10-cold"))))
    with pytest.raises(ShopDatabaseUnusable, match="step 99") as refused:
        await copy(record, address)
    assert "Update" in refused.value.do and content(address) == before


async def test_a_row_the_database_will_not_take_is_named_and_holds_up_no_other(record: Path, address: str) -> None:
    huge = {**PHOTO, "size_bytes": 2**63, "width_px": 2**40}
    nul = reading("r-nul", "t10-cold", note="a\0b", taken_by="\0")
    plain = {**PHOTO, "id": "p-2"}
    await send(record, change(1, added(huge, "photo")), change(2, added(nul)), change(3, added(plain, "photo")))
    pushed = await copy(record, address)
    there = content(address)
    assert pushed.refused == 1 and list(there["photo"]) == ["p-2"]
    # this SQLite's own reading of JSON may end at such a character
    assert there["reading"]["r-nul"]["note"] in ("a", "a\N{REPLACEMENT CHARACTER}b")
    [(table, key, why)] = asked(address, "SELECT table_name, row_key, why FROM second_probe.refused_row")
    assert (table, key) == ("photo", "p-1") and "out of range" in why
    assert (await copy(record, address)).refused == 0


async def test_an_owners_forgotten_words_leave_the_copy_too(record: Path, address: str) -> None:
    note = reading("r-note", "t10-cold", note="as Mrs Quillfeather said")
    gone = fields_set({"title": "Mrs Quillfeather", "tray": "gone"}, "t10-cold")
    await send(record, change(1, gone), change(2, added(note)), change(3, added(PHOTO, "photo")))
    await copy(record, address)
    async with open_record(record) as database:
        assert await forget_owners(database, PhotoFolder(record), 1_767_225_600_000 + 400 * DAY_MS, 365) >= 1
    await copy(record, address)
    there = content(address)
    assert "Quillfeather" not in str(there) and there["photo"]["p-1"]["is_removed"]
    assert there == await exported(record)


async def test_each_table_and_column_says_what_it_is_and_the_views_have_the_same(record: Path, address: str) -> None:
    await copy(record, address)
    unsaid = asked(address, """
        SELECT c.relname, a.attname FROM pg_class c JOIN pg_namespace n ON n.oid = relnamespace
        LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND attnum > 0 AND NOT attisdropped
        WHERE nspname = 'second_probe' AND relkind = 'r' AND relname <> 'step'
        AND (col_description(c.oid, attnum) IS NULL OR obj_description(c.oid) IS NULL)""")
    assert unsaid == []
    with closing(sqlite3.connect(record / FILE_NAME)) as own:
        views = own.execute("SELECT name FROM sqlite_master WHERE type = 'view' AND name LIKE 'shop_%'").fetchall()
        assert len(views) == 14
        for (view,) in views:
            columns = [column[0] for column in own.execute(f"SELECT * FROM {view} LIMIT 0").description]
            table = view.removeprefix("shop_")
            theirs = [name for (name,) in asked(address, f"""
                SELECT column_name FROM information_schema.columns WHERE table_schema = 'second_probe'
                AND table_name = '{table}' AND is_generated = 'NEVER' ORDER BY ordinal_position""")]
            assert theirs == ["branch", *columns], view
