"""The invented shop fills itself once, through the door that a phone's changes come in by."""

import asyncio
import uuid
from pathlib import Path

import msgspec
import pytest
from msgspec import Raw

from demo.fill import DEVICE, demo_changes, fill
from demo.shop.visits import visits
from server.store.database import Database
from server.sync.accept import Vocabulary, accept_change
from server.sync.exchange import hand_out, take_batch
from shared_models.change import Added, BatchAnswer, Change, FieldsSet, Removed


@pytest.fixture(scope="module")
def changes() -> list[Change]:
    return demo_changes()


def bodies(changes: list[Change]) -> list[Added | FieldsSet | Removed]:
    read = [accept_change(msgspec.json.encode(change), Vocabulary()).body for change in changes]
    assert None not in read
    return [body for body in read if body is not None]


def entities(changes: list[Change], kind: str) -> dict[str, dict[str, Raw]]:
    return {body.id: body.fields for body in bodies(changes) if isinstance(body, FieldsSet) and body.kind == kind}


def facts(changes: list[Change], kind: str) -> list[dict[str, object]]:
    return [
        msgspec.json.decode(body.record) for body in bodies(changes) if isinstance(body, Added) and body.kind == kind
    ]


def send(data_dir: Path, changes: list[Change]) -> BatchAnswer:
    async def push() -> BatchAnswer:
        database = await Database.open(data_dir)
        try:
            return await take_batch(database, [Raw(msgspec.json.encode(change)) for change in changes], Vocabulary())
        finally:
            await database.close()

    return asyncio.run(push())


def stored(data_dir: Path) -> list[Change]:
    async def pull() -> list[Change]:
        database = await Database.open(data_dir)
        try:
            found: list[Change] = []
            after, more = 0, True
            while more:
                page = await hand_out(database, after, 500)
                found += [numbered.change for numbered in page.changes]
                after, more = page.next_after, page.more
            return found
        finally:
            await database.close()

    return asyncio.run(pull())


def test_a_second_start_adds_nothing(tmp_path: Path, changes: list[Change]) -> None:
    first = fill(tmp_path)
    assert (first.stored, first.had, first.refused) == (len(changes), 0, 0)
    second = fill(tmp_path)
    assert (second.stored, second.had, second.refused) == (0, len(changes), 0)
    assert stored(tmp_path) == changes


def test_a_start_after_an_edit_on_the_phone_leaves_the_edit(tmp_path: Path, changes: list[Change]) -> None:
    fill(tmp_path)
    edit = Change(
        id="phone-1", device="phone", device_seq=1, hlc="999999999999999-00000",
        body=Raw(b'{"what": "fields_set", "kind": "job", "id": "t10-slipped", "fields": {"tray": "gone"}}'),
    )
    assert send(tmp_path, [edit]).answers[0].result == "stored"
    fill(tmp_path)
    assert stored(tmp_path) == [*changes, edit]


def test_a_folder_of_an_older_demo_is_said_to_differ_and_is_left_alone(
    tmp_path: Path, changes: list[Change], capsys: pytest.CaptureFixture[str],
) -> None:
    older = msgspec.structs.replace(changes[0], actor="an older demo")
    send(tmp_path, [older])
    result = fill(tmp_path)
    assert (result.stored, result.refused) == (len(changes) - 1, 1)
    assert stored(tmp_path)[0] == older
    assert "--fresh" in capsys.readouterr().out


def test_changes_are_one_devices_numbered_without_gaps_under_fixed_uuid7s(changes: list[Change]) -> None:
    assert [change.device_seq for change in changes] == list(range(1, len(changes) + 1))
    assert {change.device for change in changes} == {DEVICE}
    assert len({change.id for change in changes}) == len(changes)
    assert {uuid.UUID(change.id).version for change in changes} == {7}
    assert {uuid.UUID(change.id).variant for change in changes} == {uuid.RFC_4122}
    stamps = [change.hlc for change in changes]
    assert stamps == sorted(set(stamps))
    assert changes == demo_changes()


def test_the_record_holds_one_fact_an_id(changes: list[Change]) -> None:
    ids = [(body.kind, msgspec.json.decode(body.record)["id"]) for body in bodies(changes) if isinstance(body, Added)]
    assert len(ids) == len(set(ids))


def test_every_record_belongs_to_something_in_the_record(changes: list[Change]) -> None:
    jobs, meters = entities(changes, "job"), entities(changes, "meter")
    boards = {str(board["id"]) for board in facts(changes, "board_version")}
    references = entities(changes, "reference_board")
    for reading in facts(changes, "reading"):
        owner = reading["of"]
        assert isinstance(owner, dict)
        assert owner.get("job_id") in jobs or owner.get("reference_board_id") in references
        assert reading["meter_id"] in meters
    assert {proof["job_id"] for proof in facts(changes, "make_safe")} <= set(jobs)
    pinned = [fields["board_version_id"] for fields in (*jobs.values(), *references.values())]
    assert {msgspec.json.decode(one) for one in pinned} <= boards


def test_the_shop_has_something_to_show_at_every_point_of_a_visit(changes: list[Change]) -> None:
    # of earlier jobs there is no more than how they ended
    jobs = {job: fields for job, fields in entities(changes, "job").items() if not job.startswith("earlier-")}
    trays = [msgspec.json.decode(fields["tray"]) for fields in jobs.values()]
    assert len(jobs) == 8 + len(list(visits()))
    assert set(trays) == {"in_hand", "waiting_for_owner", "waiting_for_part", "ready", "gone"}
    assert len(facts(changes, "board_version")) == 5
    assert len([board for board in entities(changes, "reference_board") if board.startswith("t10-")]) == 9
    counted: dict[str, int] = dict.fromkeys(jobs, 0)
    for reading in facts(changes, "reading"):
        owner = reading["of"]
        assert isinstance(owner, dict)
        if "job_id" in owner:
            counted[owner["job_id"]] += 1
    assert counted["t10-slipped"] == 17 and counted["t10-turned"] == 34 and counted["p1-vbus"] == 0
    stages = {str(reading.get("stage", "before_repair")) for reading in facts(changes, "reading")}
    assert stages == {"before_repair", "after_repair", "on_healthy_board"}


def test_three_visits_are_told_to_their_end(changes: list[Change]) -> None:
    """A proven repair, the fuse and the screen that took it, and a stop with the data first."""
    kinds = ("custody", "consent", "power_check", "closing")
    of_job = {kind: {str(fact["job_id"]) for fact in facts(changes, kind)} for kind in kinds}
    for visit in visits():
        job = visit.record.job
        assert job.tray == "gone" and job.limit_cost is not None
        assert {kind for kind in kinds if job.id in of_job[kind]} >= {"custody", "consent", "closing"}
    powered = {str(seen["of"]["job_id"]) for seen in facts(changes, "observation")  # type: ignore[index]
               if str(seen["seen"]).startswith("draw")}
    assert powered == of_job["power_check"] == {"t10-shield", "t10-fuse"}, "what was stopped was not powered"
    held = {str(fact["job_id"]): fact for fact in facts(changes, "closing")}
    assert [one["story"] for one in held["t10-fuse"]["was_wrong"]] == ["series_open", "elsewhere"]  # type: ignore
    assert held["t10-data"]["did"] == ["stop", "specialist"] and held["t10-data"]["data"] == "not_touched"
    read_after = {str(fact["of"]["job_id"]) for fact in facts(changes, "reading")  # type: ignore[index]
                  if fact.get("stage") == "after_repair"}
    assert read_after == {"v2-torn", "t10-shield", "t10-fuse"}
