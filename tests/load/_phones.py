"""What phones send to a shop, for the benchmark `sync`: connections that stay, batches of readings, pictures."""

import asyncio
import json
import time
from collections.abc import Awaitable, Callable, Sequence

from tests.support.pictures import sha256
from tests.sync.making import added, change, reading

BATCH = 200
_DEVICE = "load-tail-{:06d}"


class Line:
    """Requests on one kept connection."""

    def __init__(self, port: int, token: str) -> None:
        self._port, self._token = port, token
        self._ends: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def ask(self, method: str, path: str, body: bytes = b"", kind: str = "application/json") -> tuple[int, bytes]:
        """One request; its status and body."""
        if self._ends is None:
            self._ends = await asyncio.open_connection("127.0.0.1", self._port, limit=2**24)
        reader, writer = self._ends
        writer.write(
            f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\n"
            f"{self._token}\r\n\r\n".encode() + body
        )
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        length = int(head.split("content-length: ")[1].split("\r\n")[0])
        return int(head.split()[1]), await reader.readexactly(length)

    def close(self) -> None:
        """Hangs up."""
        if self._ends is not None:
            self._ends[1].close()


def batches_of(round_: int, phones: int, readings: int) -> list[list[dict[str, object]]]:
    """Readings of as many phones, in their batches; other ones each round."""
    each = readings // phones
    made = []
    for phone in range(phones):
        made += _batches(f"load-{round_}-{phone}", f"job-{round_}", each)
    return made


def _batches(device: str, job: str, readings: int) -> list[list[dict[str, object]]]:
    changes = [change(n, added(reading(f"{device}-{n}", f"{job}-{n % 40}")), device) for n in range(1, readings + 1)]
    return [changes[at : at + BATCH] for at in range(0, readings, BATCH)]


class Bodies:
    """Pushes without end, each of another phone; made so that who measures beside it hardly works for them."""

    def __init__(self) -> None:
        [batch] = _batches(_DEVICE.format(0), "job-tail", BATCH)
        self._first, self._count = json.dumps({"changes": batch}).encode(), 0

    def next(self) -> bytes:
        """The next one's body."""
        self._count += 1
        return self._first.replace(_DEVICE.format(0).encode(), _DEVICE.format(self._count).encode())


async def push(line: Line, body: bytes, path: str = "/api/changes", changes: int = BATCH) -> None:
    """A phone's push; each of its changes is answered as stored."""
    status, answer = await line.ask("POST", path, body)
    assert status == 200 and answer.count(b'"stored"') == changes, answer[:300]


def pushing(batch: list[dict[str, object]]) -> Callable[[Line], Awaitable[None]]:
    """A phone's push, looked at."""
    body = json.dumps({"changes": batch}).encode()
    return lambda line: push(line, body, changes=len(batch))


def sending(raw: bytes) -> Callable[[Line], Awaitable[None]]:
    """A picture's upload."""

    async def send(line: Line) -> None:
        status, answer = await line.ask("PUT", f"/api/photos/{sha256(raw)}", raw, "image/jpeg")
        assert status in (200, 201), answer[:300]

    return send


async def together(work: Sequence[Callable[[Line], Awaitable[None]]], port: int, token: str) -> float:
    """Seconds until all are done, each on a line of its own."""
    lines = [Line(port, token) for _ in work]
    began = time.perf_counter()
    await asyncio.gather(*(one(line) for one, line in zip(work, lines, strict=True)))
    took = time.perf_counter() - began
    for line in lines:
        line.close()
    return took
