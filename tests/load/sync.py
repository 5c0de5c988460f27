"""`python3 tests load sync`: 50 phones send 10,000 readings and 200 pictures; how much of SQLite's own speed is left?

    python3 tests load sync [--phones 50] [--readings 10000] [--photos 200] [--repeats 3] [--rows 1000000]

1. accepted changes a second, each answered and on the disk, beside the same rows written straight with sqlite3 in
   transactions of the same size, on the same disk, taking turns;
2. pictures as large as the app makes them, beside the same bytes written straight: told, without a bar;
3. while a phone sends a batch fourteen times a second: the 99th percentile of a job's sheet and of its opinion, beside
   a bare Litestar application (`_bare_shop`), in turns of fifty. The bare one is judged under the same load: it takes
   the same batches in its own process and writes the same rows. What both then wait for is one interpreter and one
   disk; what is compared is what the record, the guard, the token and the merge cost. Where another process takes the
   batches, the bare one has an interpreter of its own: that is told beside it;
4. the server's memory after the first half of all that and after the second;
5. a store of a million readings: what the routes behind a screen ask of it.

This machine's speed wanders between runs, and where much else runs it is waiting for a processor that is measured. The
exit code is 1 when a bar is missed.
"""

import argparse
import asyncio
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from contextlib import closing
from pathlib import Path

from demo.fill import fill
from server.store import change_log, phones
from server.store.database import Database
from server.store.readings import gather_readings
from server.store.sheet import gather_sheet
from server.store.shop_learnt import learning_question
from server.sync.exchange import hand_out
from tests.browser.server_process import ServerProcess, free_port
from tests.load import _pictures
from tests.load._bars import Bars
from tests.load._phones import Bodies, Line, batches_of, pushing, together
from tests.load._straight import empty_record, write_readings
from tests.load._tail import Asked, Door, in_turns
from tests.sync.making import reading

ROOT = Path(__file__).resolve().parents[2]
SHARE, TIMES, GROWTH_MB, QUERY_MS = 0.5, 3.0, 20.0, 5.0
ASKED = {"sheet": 2_000, "opinion": 1_000}
"""Of 150 the 99th percentile is the largest or the one before; of so many there are ten above it."""
JOB = "t10-cold"


def straight(folder: Path, batches: list[list[dict[str, object]]]) -> float:
    """Seconds for the same rows, written with sqlite3 in transactions of the same size."""
    rows = [[
        ((one["id"], one["device"], one["device_seq"], one["hlc"], one["actor"], json.dumps(one["body"]).encode()),
         (one["body"]["record"]["id"], json.dumps(one["body"]["record"]), f"{one['hlc']} {one['device']} {one['id']}"))  # type: ignore[index]
        for one in batch
    ] for batch in batches]
    with closing(empty_record(folder / f"straight-{time.time_ns()}.sqlite3")) as connection:
        began, seq = time.perf_counter(), 0
        for batch in rows:
            write_readings(connection, batch, seq)  # type: ignore[arg-type]
            seq += len(batch)
        return time.perf_counter() - began


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
            "a job's sheet": await timed(lambda: database.read_at_once(lambda record: gather_sheet(
                record, JOB, asked_at_ms=0, mode="guided", stage="before_repair"))),
            "a job's readings for a file": await timed(lambda: gather_readings(connection, JOB, "csv")),
            "what the shop has learnt": await timed(lambda: learning_question(connection)),
            "whose token it is": await timed(lambda: database.look_up(lambda record: phones.phone_of(record, b"no"))),
            "which phones there are": await timed(lambda: phones.all_phones(connection)),
            "a page of 500 changes": await timed(lambda: hand_out(database, rows // 2, 500)),
            "nothing new": await timed(lambda: hand_out(database, first + rows, 500)),
            "is it up": await timed(lambda: database.read_at_once(change_log.count)),
        }
    await database.close()
    return found


async def measure_pictures(given: argparse.Namespace, folder: Path, port: int, token: str, round_: int) -> None:
    """What pictures take, beside the same bytes written straight."""
    numbers = range(round_ * given.photos, (round_ + 1) * given.photos)
    took = await _pictures.sent(numbers, given.phones, port, token)
    plain_s, looked_at_s = (_pictures.straight(folder, numbers, looked_at=each) for each in (False, True))
    print(f"{given.photos} pictures of {len(_pictures.picture(0)) / 1e6:.1f} MB: {took:.1f} s; straight to the"
          f" disk and hashed {plain_s:.1f} s, {plain_s / took:.2f} of that speed; unpacked and looked at too"
          f" {looked_at_s:.1f} s, {looked_at_s / took:.2f}")


async def measure_tails(bars: Bars, folder: Path, shop: Door) -> None:
    """The slowest answers while phones send, beside a bare application's."""
    sheet = folder / "sheet.json"
    sheet.write_bytes((await Line(*shop).ask("GET", f"/api/jobs/{JOB}/sheet"))[1])
    bare = Door(free_port())
    bodies = Bodies()
    process = subprocess.Popen([
        sys.executable, "-m", "tests.load._bare_shop", str(bare.port), str(sheet), str(folder / "bare.sqlite3"),
    ], cwd=ROOT)
    try:
        await _until_up(bare.port)
        for what, times in ASKED.items():
            ours, loaded, idle = await in_turns((
                Asked(f"/api/jobs/{JOB}/{what}", shop, "/api/changes", shop),
                Asked(f"/{what}", bare, "/changes", bare),
                Asked(f"/{what}", bare, "/api/changes", shop),
            ), times, bodies)
            print(f"a job's {what} while phones send, {times} times each, in turns")
            print(f"  here: {ours.in_words()}")
            print(f"  bare, that takes the same: {loaded.in_words()}")
            print(f"  bare, beside a process that takes them: {idle.in_words()};"
                  f" here {ours.p99_ms() / idle.p99_ms():.2f} times that at the 99th percentile")
            bars.at_most(f"99th percentile of a job's {what} beside a bare route under the same load",
                         ours.p99_ms() / loaded.p99_ms(), TIMES, "times")
    finally:
        process.kill()
        process.wait()


async def measure(given: argparse.Namespace, folder: Path, server: ServerProcess) -> Bars:
    """All of it."""
    bars, token = Bars(), "Authorization: " + server.with_token()["Authorization"]
    ours, theirs, memory = [], [], []
    for round_ in range(2 * given.repeats):
        batches = batches_of(round_, given.phones, given.readings)
        sent = sum(map(len, batches))
        ours.append(sent / await together([pushing(batch) for batch in batches], server.port, token))
        theirs.append(sent / straight(folder, batches))
        if round_ in (0, 1, given.repeats):  # twice before memory is looked at: threads keep what the first took
            await measure_pictures(given, folder, server.port, token, round_)
        memory.append(memory_mb(server.pid))
    shares = [one / other for one, other in zip(ours, theirs, strict=True)]
    print(f"accepted changes a second: {statistics.median(ours):.0f}; straight: {statistics.median(theirs):.0f};"
          f" shares {', '.join(f'{share:.2f}' for share in shares)}")
    bars.at_least("accepted changes beside sqlite3 alone", statistics.median(shares), SHARE, "of its speed")
    growth = memory[-1] - memory[given.repeats - 1]
    print(f"memory after each round: {', '.join(f'{each:.0f}' for each in memory)} MB")
    bars.at_most("memory gained in the second half", growth, GROWTH_MB, "MB")

    await measure_tails(bars, folder, Door(server.port, token))
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
