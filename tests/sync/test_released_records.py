"""A record of every released version is brought forward with all that was in it: every kind, every field filled."""

import json
from pathlib import Path
from typing import Any

import pytest
from msgspec import Raw

from server.store import change_log
from server.store.database import Database
from server.store.migrations import STEPS_DIR
from server.store.shop_views import TABLES, all_rows, reading_only
from server.sync.accept import Vocabulary, accept_body
from server.sync.apply import apply_changes
from shared_models.base import BODY_V
from shared_models.change import ENTITY_TYPES, FACT_TYPES, Change
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state

PAYLOADS = Path(__file__).parents[1] / "vectors" / "payloads"
STEPS = sorted(STEPS_DIR.glob("*.sql"))


def kept(version: int, name: str) -> dict[str, Any] | None:
    """A record as that version wrote it; None when it knew none of the kind."""
    path = PAYLOADS / f"v{version}" / f"{name}.json"
    return json.loads(path.read_text(encoding="utf-8"))["body"] if path.exists() else None


def everything() -> list[dict[str, Any]]:
    """One change for every kind of fact, whole and with only what must be; entities; removals; a newer app's."""
    bodies = []
    for version in range(1, BODY_V + 1):
        for kind in FACT_TYPES:
            for record in (kept(version, kind), kept(version, f"{kind}_least")):
                if record is not None:
                    bodies.append(added({**record, "id": f"{kind}-{len(bodies)}"}, kind, v=version))
        for kind in ENTITY_TYPES:
            if (record := kept(version, kind)) is not None:
                fields = {name: value for name, value in record.items() if name not in ("id", "v")}
                bodies.append(fields_set(fields, f"{kind}-{version}", kind, v=version))
    assert {body["kind"] for body in bodies} == {*FACT_TYPES, *ENTITY_TYPES}, "a kind that no version is kept of"
    bodies += [added(reading("r-gone")), removed("r-gone"), fields_set({"title": "later"}, "job-1")]
    bodies.append(fields_set({"shelf": "B3"}, "job-1", v=9))
    return [change(number, body) for number, body in enumerate(bodies, 1)]


async def write_as_of(folder: Path, steps: Path, sent: list[dict[str, Any]], *, has_record: bool) -> str:
    """The record as a server with only these steps left it; its epoch."""
    old = await Database.open(folder, steps)
    async with old.writing() as connection:
        for one in sent:
            made = Change(**{**one, "body": Raw(json.dumps(one["body"]).encode())})
            accepted = accept_body(made, Vocabulary())
            seq = await change_log.next_seq(connection)
            await change_log.append(connection, [(seq, made, accepted.v, has_record and accepted.body is not None)])
            if has_record:
                await apply_changes(connection, [(accepted, seq)])
    epoch = await old.epoch()
    await old.close()
    return epoch


@pytest.mark.parametrize("newest", range(1, len(STEPS) + 1))
async def test_a_record_of_every_step_is_brought_forward_with_all_its_data(tmp_path: Path, newest: int) -> None:
    steps = tmp_path / "steps"
    steps.mkdir()
    for path in STEPS[:newest]:
        (steps / path.name).write_bytes(path.read_bytes())
    sent = everything()
    epoch = await write_as_of(tmp_path / "old", steps, sent, has_record=newest > 1)
    async with open_record(tmp_path / "never") as database:
        assert {one.result for one in (await push(database, sent)).answers} == {"stored", "stored_newer"}
        straight = await whole_state(database)
    async with open_record(tmp_path / "old") as database:
        assert await whole_state(database) == straight
        assert await database.epoch() == epoch
        assert {one.result for one in (await push(database, sent)).answers} == {"had"}
        assert (await push(database, [change(99, added(reading("r-new")))])).answers[0].result == "stored"
    async with reading_only(tmp_path / "old") as connection:
        rows = {kind: [row["id"] async for row in all_rows(connection, kind)] for kind in TABLES}
    assert {kind: len(ids) for kind, ids in rows.items()} == {
        "job": 2, "meter": 2, "reference_board": 2, "board_version": 4, "reading": 6, "observation": 4, "make_safe": 4,
        "photo": 4, "power_check": 2, "rail_point": 2, "custody": 2, "consent": 2, "closing": 2, "shop": 1,
    }
