"""Who is refused while his request is still on its way reads why; nobody keeps the server by never ending."""

import asyncio
import json
import socket
from collections.abc import Iterator
from itertools import repeat
from typing import Any

import pytest

from server.api.edge import BODY_LIMIT_BYTES
from server.network import lingering
from server.network.lingering import LINGER_BYTES, Lingering
from tests.browser.server_process import ServerProcess

PATIENCE_S = 20
ON_ITS_WAY = 1_000_000
SCOPE = {"type": "http", "headers": [(b"content-length", b"99999999")]}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    """A real server: what happens to a connection is what is asked here."""
    folder = tmp_path_factory.mktemp("refused")
    started = ServerProcess(folder / "data", folder / "no-app")
    started.start()
    yield started
    started.kill()


@pytest.mark.parametrize(("path", "length", "paired", "code"), [
    ("/api/opinion", ON_ITS_WAY, False, "not_paired"),
    ("/api/opinion", BODY_LIMIT_BYTES + 1, True, "too_large"),
    ("/api/nowhere", ON_ITS_WAY, True, "no_such_route"),
])
def test_an_answer_that_came_first_is_read_by_who_was_still_sending(
    server: ServerProcess, path: str, length: int, paired: bool, code: str
) -> None:
    with socket.create_connection(("127.0.0.1", server.port), timeout=PATIENCE_S) as sender:
        token = server.with_token()["Authorization"] if paired else "none"
        head = f"POST {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Type: application/json\r\n"
        sender.sendall(f"{head}Authorization: {token}\r\nContent-Length: {length}\r\n\r\n".encode())
        sender.recv(1, socket.MSG_PEEK)  # it has answered
        sender.sendall(b"x" * ON_ITS_WAY)
        sender.shutdown(socket.SHUT_WR)
        answer = b"".join(iter(lambda: sender.recv(65536), b""))
    assert json.loads(answer.partition(b"\r\n\r\n")[2])["problem"]["code"] == code


async def refuse(_scope: Any, _receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 401, "headers": []})
    await send({"type": "http.response.body", "body": b"no"})


async def test_the_answer_is_whole_before_the_rest_is_read_and_the_rest_has_an_end() -> None:
    sent: list[Any] = []
    read = 0
    chunks = repeat(b"x" * 65536)

    async def receive() -> Any:
        nonlocal read
        assert sent[-1] == {"type": "http.response.body", "body": b"no", "more_body": True}
        read += 65536
        return {"type": "http.request", "body": next(chunks), "more_body": True}

    async def send(message: Any) -> None:
        sent.append(message)

    await Lingering(refuse)(SCOPE, receive, send)
    assert sent[-1] == {"type": "http.response.body", "body": b""}
    assert LINGER_BYTES <= read < LINGER_BYTES + 2 * 65536


async def test_who_sends_nothing_more_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lingering, "LINGER_S", 0.02)
    sent: list[Any] = []

    async def receive() -> Any:
        await asyncio.Event().wait()

    async def send(message: Any) -> None:
        sent.append(message)

    async with asyncio.timeout(PATIENCE_S):
        await Lingering(refuse)(SCOPE, receive, send)
    assert sent[-1] == {"type": "http.response.body", "body": b""}


async def test_a_request_that_is_whole_is_answered_untouched() -> None:
    async def echo(_scope: Any, receive: Any, send: Any) -> None:
        body = (await receive())["body"]
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": body})

    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.request", "body": b"all", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    await Lingering(echo)(SCOPE, receive, send)
    assert sent[1:] == [{"type": "http.response.body", "body": b"all"}]
