"""A bad line between phones and the server: drops, delays, cuts, repeats and reorders requests, and counts them.

It understands just enough HTTP to know where a request and an answer end. Only what goes to the record and to
pictures meets faults; the app's own files pass.
"""

import asyncio
import contextlib
import random
import re
import threading
from collections import Counter

FAULTS = (
    "request lost", "request cut in the middle", "answer lost", "answer cut in the middle", "request delivered twice",
    "request delivered again later", "request delivered after later ones", "delayed",
)
MEETS_FAULTS = re.compile(rb"^(GET|POST|HEAD|PUT) /api/(changes|photos)")
LATER_S = (0.2, 1.0)


class FaultyProxy:
    """Listens on a port of its own on loopback. `rate`: the share of requests that meet a fault."""

    def __init__(self, to_port: int, seed: int, rate: float) -> None:
        self._to, self.rate = to_port, rate
        self._random = random.Random(seed)
        self.injected: Counter[str] = Counter()
        self.requests = 0
        self._loop = asyncio.new_event_loop()
        self._later: set[asyncio.Task[None]] = set()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._ready = threading.Event()
        self.port = 0

    def start(self) -> None:
        """Returns once it listens."""
        self._thread.start()
        self._ready.wait()

    def stop(self) -> None:
        """Ends it; what was to be delivered later is dropped."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        server = self._loop.run_until_complete(asyncio.start_server(self._serve, "127.0.0.1", 0, limit=2**24))
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        self._loop.run_forever()
        server.close()
        for task in asyncio.all_tasks(self._loop):
            task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            self._loop.run_until_complete(asyncio.gather(*asyncio.all_tasks(self._loop), return_exceptions=True))
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            length = re.search(rb"\r\ncontent-length: *(\d+)", head, re.IGNORECASE)
            body = await reader.readexactly(int(length[1]) if length else 0)
            request = re.sub(rb"\r\nconnection: [^\r]*", b"", head, flags=re.IGNORECASE)
            request = request.replace(b"\r\n", b"\r\nConnection: close\r\n", 1) + body
            fault = ""
            if MEETS_FAULTS.match(head):
                self.requests += 1
                if self._random.random() < self.rate:
                    fault = self._random.choice(FAULTS)
                    self.injected[fault] += 1
            await self._pass(request, len(body), fault, writer)
        except (OSError, asyncio.IncompleteReadError):
            pass  # one side went away
        finally:
            writer.close()

    async def _pass(self, request: bytes, body: int, fault: str, writer: asyncio.StreamWriter) -> None:
        match fault:
            case "request lost":
                return
            case "request cut in the middle":
                await self._deliver(request[: len(request) - body // 2 - 1], hang_up=True)
                return
            case "request delivered after later ones":
                self._deliver_later(request)
                return
            case "request delivered twice":
                await self._deliver(request)
            case "request delivered again later":
                self._deliver_later(request)
            case "delayed":
                await asyncio.sleep(self._random.uniform(0.02, 0.3))
        answer = await self._deliver(request)
        if fault == "answer lost":
            return
        writer.write(answer[: len(answer) // 2] if fault == "answer cut in the middle" else answer)
        await writer.drain()

    def _deliver_later(self, request: bytes) -> None:
        async def later() -> None:
            await asyncio.sleep(self._random.uniform(*LATER_S))
            with contextlib.suppress(OSError):
                await self._deliver(request)

        task = asyncio.create_task(later())
        self._later.add(task)
        task.add_done_callback(self._later.discard)

    async def _deliver(self, request: bytes, *, hang_up: bool = False) -> bytes:
        reader, writer = await asyncio.open_connection("127.0.0.1", self._to)
        try:
            writer.write(request)
            await writer.drain()
            if hang_up:
                await asyncio.sleep(0.05)  # the server gets to see what came
                return b""
            return await reader.read(-1)
        finally:
            writer.close()
