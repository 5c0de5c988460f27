"""`python3 tests load sync`: 50 phones send 10,000 readings and 200 pictures; how much of SQLite's own speed is left?

    python3 tests load sync [--phones 50] [--readings 10000] [--photos 200] [--repeats 3] [--rows 1000000]

1. accepted changes a second, each answered and on the disk, beside the same rows written straight with sqlite3 in
   transactions of the same size, on the same disk, taking turns;
2. the pictures, whole and hashed;
3. while phones go on sending: the 99th percentile of a job's sheet and of its opinion, beside a bare Litestar
   application with one route that does the same without record, guard and token, sent to in the same moments;
4. the server's memory after the first half of all that and after the second;
5. a store of a million readings: what the routes behind a screen ask of it.

This machine's speed wanders between runs. The exit code is 1 when a bar is missed.
"""

import argparse
import asyncio
import json
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Sequence
from contextlib import closing
from pathlib import Path

from demo.fill import fill
from server.store import change_log
from server.store.database import Database
from server.store.migrations import read_steps, statements
from server.store.sheet import gather_sheet
from tests.browser.server_process import ServerProcess, free_port
from tests.load._bars import Bars
from tests.support.pictures import noise, sha256
from tests.sync.making import added, change, reading

BATCH = 200
SHARE, TIMES, GROWTH_MB, QUERY_MS = 0.5, 3.0, 20.0, 5.0
ASKED = 150
JOB = "t10-cold"
BARE = """
import sys
sys.path.insert(0, {root!r})
import asyncio, msgspec, uvicorn
from pathlib import Path
from litestar import Litestar, get
from server.engine.door import form_opinion
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
sheet = msgspec.json.decode(Path({sheet!r}).read_bytes(), type=BenchSheet)
@get("/sheet")
async def give_sheet() -> BenchSheet:
    return sheet
@get("/opinion")
async def give_opinion() -> Opinion:
    return await asyncio.to_thread(form_opinion, sheet)
uvicorn.run(Litestar([give_sheet, give_opinion], openapi_config=None), port={port}, log_level="error")
"""


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
        device = f"load-{round_}-{phone}"
        changes = [change(n, added(reading(f"{device}-{n}", f"job-{round_}-{n % 40}")), device)
                   for n in range(1, each + 1)]
        made += [changes[at : at + BATCH] for at in range(0, each, BATCH)]
    return made


async def together(work: Sequence[Callable[[Line], Awaitable[None]]], port: int, token: str) -> float:
    """Seconds until all are done, each on a line of its own."""
    lines = [Line(port, token) for _ in work]
    began = time.perf_counter()
    await asyncio.gather(*(one(line) for one, line in zip(work, lines, strict=True)))
    took = time.perf_counter() - began
    for line in lines:
        line.close()
    return took


def pushing(batch: list[dict[str, object]]) -> Callable[[Line], Awaitable[None]]:
    """A phone's push, looked at."""
    body = json.dumps({"changes": batch}).encode()

    async def push(line: Line) -> None:
        status, answer = await line.ask("POST", "/api/changes", body)
        assert status == 200 and answer.count(b'"stored"') == len(batch), answer[:300]

    return push


def sending(raw: bytes) -> Callable[[Line], Awaitable[None]]:
    """A picture's upload."""

    async def send(line: Line) -> None:
        status, answer = await line.ask("PUT", f"/api/photos/{sha256(raw)}", raw, "image/jpeg")
        assert status in (200, 201), answer[:300]

    return send


def straight(folder: Path, batches: list[list[dict[str, object]]]) -> float:
    """Seconds for the same rows, written with sqlite3 in transactions of the same size."""
    rows = [[
        ((one["id"], one["device"], one["device_seq"], one["hlc"], one["actor"], json.dumps(one["body"]).encode()),
         (one["body"]["record"]["id"], json.dumps(one["body"]["record"]), f"{one['hlc']} {one['device']} {one['id']}"))  # type: ignore[index]
        for one in batch
    ] for batch in batches]
    with closing(sqlite3.connect(folder / f"straight-{time.time_ns()}.sqlite3", isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        for step in read_steps():
            for statement in statements(step.sql):
                connection.execute(statement)
        began, seq = time.perf_counter(), 0
        for batch in rows:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(
                "INSERT INTO change (id, device, device_seq, hlc, actor, v, body, applied)"
                " VALUES (?, ?, ?, ?, ?, 1, ?, 1)", [change_row for change_row, _ in batch])
            connection.executemany(
                "INSERT INTO fact (kind, id, record, stamp, seq) VALUES ('reading', ?, ?, ?, ?)",
                [(*fact_row, seq + n) for n, (_, fact_row) in enumerate(batch, 1)])
            connection.execute("COMMIT")
            seq += len(batch)
        return time.perf_counter() - began


async def p99_ms(port: int, token: str, path: str, behind: list[list[dict[str, object]]], to: tuple[int, str]) -> float:
    """The 99th percentile of a route while phones go on sending to `to`."""
    line, pusher, took, over = Line(port, token), Line(*to), [], asyncio.Event()

    async def go_on_sending() -> None:
        for batch in behind:
            if over.is_set():
                return
            await pushing(batch)(pusher)
            await asyncio.sleep(0.05)

    load = asyncio.create_task(go_on_sending())
    for _ in range(ASKED):
        began = time.perf_counter()
        status, answer = await line.ask("GET", path)
        took.append(1000 * (time.perf_counter() - began))
        assert status == 200, answer[:300]
    over.set()
    await load
    line.close()
    pusher.close()
    return statistics.quantiles(took, n=100)[98]


def memory_mb(pid: int) -> float:
    """What a process holds now."""
    [line] = [line for line in Path(f"/proc/{pid}/status").read_text().splitlines() if line.startswith("VmRSS")]
    return int(line.split()[1]) / 1000


async def queries_ms(folder: Path, rows: int) -> dict[str, float]:
    """Medians of what the routes ask of a store with so many readings."""
    database = await Database.open(folder)
    per_job = 60
    async with database.writing() as connection:
        [(first,)] = await connection.execute_fetchall("SELECT coalesce(max(seq), 0) + 1 FROM change")
        for at in range(0, rows, 20_000):
            many = range(at, min(at + 20_000, rows))
            await connection.executemany(
                "INSERT INTO change (seq, id, device, device_seq, hlc, actor, v, body, applied)"
                " VALUES (?, ?, 'bulk', ?, '001767225600000-00000', '', 1, ?, 1)",
                [(first + n, f"bulk-{n}", n + 1, b'{"what":"added","kind":"reading","record":{"id":"x"},"v":1}')
                 for n in many])
            await connection.executemany(
                "INSERT INTO fact (kind, id, record, stamp, seq) VALUES ('reading', ?, ?, ?, ?)",
                [(f"bulk-{n}", json.dumps(reading(f"bulk-{n}", f"bulk-job-{n // per_job}")),
                  f"001767225600000-00000 bulk bulk-{n}", first + n) for n in many])

    async def timed(work: Callable[[], Awaitable[object]]) -> float:
        took = []
        for _ in range(15):
            began = time.perf_counter()
            await work()
            took.append(1000 * (time.perf_counter() - began))
        return statistics.median(took)

    async with database.reading() as connection:
        found = {
            "a job's sheet": await timed(lambda: gather_sheet(
                connection, JOB, asked_at_ms=0, mode="guided", stage="before_repair")),
            "a page of 500 changes": await timed(lambda: change_log.page(connection, rows // 2, 500, 2_000_000)),
            "nothing new": await timed(lambda: change_log.page(connection, first + rows, 500, 2_000_000)),
            "is it up": await timed(lambda: change_log.count(connection)),
        }
    await database.close()
    return found


async def measure(given: argparse.Namespace, folder: Path, server: ServerProcess) -> Bars:
    """All of it."""
    bars, token = Bars(), "Authorization: " + server.with_token()["Authorization"]
    pid = server._process.pid  # type: ignore[union-attr]
    ours, theirs, memory = [], [], []
    for round_ in range(2 * given.repeats):
        batches = batches_of(round_, given.phones, given.readings)
        sent = sum(map(len, batches))
        ours.append(sent / await together([pushing(batch) for batch in batches], server.port, token))
        theirs.append(sent / straight(folder, batches))
        pictures = [noise(300 + n % 40, 200) for n in range(given.photos)] if round_ in (0, given.repeats) else []
        if pictures:
            took = await together([sending(raw) for raw in pictures], server.port, token)
            print(f"{len(pictures)} pictures of some {len(pictures[0]) // 1000} kB at once: {took:.1f} s")
        memory.append(memory_mb(pid))
    shares = [one / other for one, other in zip(ours, theirs, strict=True)]
    print(f"accepted changes a second: {statistics.median(ours):.0f}; straight: {statistics.median(theirs):.0f};"
          f" shares {', '.join(f'{share:.2f}' for share in shares)}")
    bars.at_least("accepted changes beside sqlite3 alone", statistics.median(shares), SHARE, "of its speed")
    growth = memory[-1] - memory[given.repeats - 1]
    print(f"memory after each round: {', '.join(f'{each:.0f}' for each in memory)} MB")
    bars.at_most("memory gained in the second half", growth, GROWTH_MB, "MB")

    sheet = folder / "sheet.json"
    sheet.write_bytes((await Line(server.port, token).ask("GET", f"/api/jobs/{JOB}/sheet"))[1])
    port = free_port()
    bare = subprocess.Popen([sys.executable, "-c", BARE.format(
        root=str(Path(__file__).resolve().parents[2]), sheet=str(sheet), port=port)])
    try:
        await _until_up(port)
        for number, what in enumerate(("sheet", "opinion")):
            behind = batches_of(100 + number, 100, 20_000)
            of_ours = await p99_ms(server.port, token, f"/api/jobs/{JOB}/{what}", behind[:50], (server.port, token))
            of_bare = await p99_ms(port, "X: y", f"/{what}", behind[50:], (server.port, token))
            print(f"a job's {what} while phones send, 99th percentile: {of_ours:.1f} ms; bare: {of_bare:.1f} ms")
            bars.at_most(f"99th percentile of a job's {what} beside a bare route", of_ours / of_bare, TIMES, "times")
    finally:
        bare.kill()
        bare.wait()
    server.kill()
    print(f"a store of {given.rows} readings more")
    for what, ms in (await queries_ms(server.data_dir, given.rows)).items():
        if "page" in what:
            print(f"{what}: {ms:.1f} ms")  # for a phone that has been away, not for a screen
        else:
            bars.at_most(f"{what}, a million readings in the store", ms, QUERY_MS, "ms")
    return bars


async def _until_up(port: int) -> None:
    for _ in range(600):
        try:
            (await asyncio.open_connection("127.0.0.1", port))[1].close()
            return
        except OSError:
            await asyncio.sleep(0.05)
    raise AssertionError("the bare application did not start")


def main(arguments: list[str]) -> int:
    """Runs it; the exit code."""
    parser = argparse.ArgumentParser(prog="python3 tests load sync", description="How fast the shop takes changes.")
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--readings", type=int, default=10_000)
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--rows", type=int, default=1_000_000)
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fill(folder / "data")
        server = ServerProcess(folder / "data", folder / "no-app")
        server.start()
        try:
            return asyncio.run(measure(given, folder, server)).verdict()
        finally:
            server.kill()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
