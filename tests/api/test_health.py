"""Is the server up? Phones ask it often."""

from typing import Any

import pytest
from litestar.testing import AsyncTestClient

from server.api import health
from server.store.at_once import ReadingThreads


async def test_it_is_answered_by_one_question_of_the_record_and_by_no_file_of_the_package(
    client: AsyncTestClient[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    read, version = ReadingThreads.read, health.version

    async def counted(self: ReadingThreads, work: Any) -> Any:
        asked.append("the record")
        return await read(self, work)

    def looked_up(name: str) -> str:
        asked.append("the package")
        return version(name)

    first = (await client.get("/api/health")).json()
    monkeypatch.setattr(ReadingThreads, "read", counted)
    monkeypatch.setattr(health, "version", looked_up)
    again = (await client.get("/api/health")).json()
    assert asked == ["the record"]
    assert first["ok"] is again["ok"] is True
    assert (first["version"], first["epoch"], first["changes"]) == (again["version"], again["epoch"], again["changes"])
