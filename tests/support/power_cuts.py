"""A shop's server whose disk is recorded, what it promised and when, and what a power cut at any moment leaves of that.

A promise is an answer: a change stored, had or handed out under its number, a picture taken or said to be here, a
phone let in. It is kept when a server that starts on what the cut left still has it.
"""

import asyncio
import hashlib
import http.client
import random
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from server.access.pairing import Desk
from server.photos.files import PhotoFolder
from server.problems import Refusal
from server.store.database import RecordUnusable
from server.sync.exchange import hand_out
from tests.browser.server_process import ServerProcess
from tests.support import forked_server
from tests.support.phone_twin import Change
from tests.support.pictures import noise
from tests.support.recorded_disk import RecordedDisk, put_back, recording
from tests.sync.making import added, change, fields_set, reading
from tests.sync.rig import open_record

LARGEST_PAGE = 1_000


class Promise(NamedTuple):
    """At `time_s` it was answered: `what` is a change with its `seq` (0: not told), a picture's hash, or a token."""

    time_s: float
    kind: str
    what: Any
    seq: int = 0


class Cut(NamedTuple):
    """What a power cut left, and what had been promised by then."""

    time_s: float
    left: dict[str, bytes | None]
    promised: list[Promise]


class RecordedShop:
    """A server in `folder`, whose calls are recorded; `disk` is what they mean for the folder of the record."""

    def __init__(self, folder: Path) -> None:
        self.data, self._log = folder / "data", folder / "calls"
        self.disk = RecordedDisk(self.data)
        self._under = tuple(recording(self._log))
        self.server = ServerProcess(self.data, folder / "no-app", self._under)
        self.promised: list[Promise] = []

    def end(self) -> None:
        """Nothing runs any more, and the record is whole."""
        self.server.kill()
        forked_server.end_all(self._under)

    def promise(self, kind: str, what: Any, seq: int = 0) -> None:
        """Notes what was just answered."""
        self.promised.append(Promise(time.time(), kind, what, seq))

    def push(self, changes: list[Change]) -> None:
        """Sends a batch."""
        by_id = {one["id"]: one for one in changes}
        for answer in self.server.post("/api/changes", {"changes": changes})["answers"]:
            self.promise("change", by_id[answer["id"]], answer["seq"])

    def pull(self, after: int) -> int:
        """Fetches a page; the number it ends with."""
        page = self.server.get(f"/api/changes?after={after}")
        for one in page["changes"]:
            self.promise("change", one["change"], one["seq"])
        return page["next_after"]

    def put_picture(self, raw: bytes) -> None:
        """Sends a picture in two pieces, so that it is not there at once."""
        sha256 = hashlib.sha256(raw).hexdigest()
        with _asked(self.server, "PUT", sha256) as connection:
            connection.putheader("Content-Type", "image/jpeg")
            connection.putheader("Content-Length", str(len(raw)))
            connection.endheaders()
            connection.send(raw[: len(raw) // 2])
            connection.send(raw[len(raw) // 2 :])
            if connection.getresponse().status in (200, 201):
                self.promise("picture", sha256)

    def look_for_picture(self, sha256: str) -> bool:
        """Asks whether a picture is here."""
        with _asked(self.server, "HEAD", sha256) as connection:
            connection.endheaders()
            answer = connection.getresponse()
            is_here = answer.status == 200
            if is_here:
                self.promise("picture", sha256)
            return is_here

    def live_a_little(self, batches: int, pictures: int) -> None:
        """Phones that send, fetch and look for pictures at once; the server is killed in between and comes back."""
        made = [noise(300 + 7 * number, 200) for number in range(pictures)]
        names = [hashlib.sha256(raw).hexdigest() for raw in made]
        done = threading.Event()
        wrong: list[BaseException] = []

        def look() -> None:
            after = 0
            try:
                while not done.is_set():
                    after = self.pull(after)
                    for name in names:
                        self.look_for_picture(name)
            except BaseException as error:  # shown below
                wrong.append(error)

        def send_pictures() -> None:
            try:
                for raw in made:
                    self.put_picture(raw)
            except BaseException as error:  # shown below
                wrong.append(error)

        self.server.start()
        self.promise("token", self.server.with_token()["Authorization"].removeprefix("Bearer "))
        for part in range(2):
            done.clear()
            threads = [threading.Thread(target=look), threading.Thread(target=send_pictures)]
            for thread in threads:
                thread.start()
            for number in range(part * batches, (part + 1) * batches):
                self.push(_batch(number))
            threads[1].join()
            done.set()
            threads[0].join()
            if wrong:
                raise wrong[0]
            if part == 0:
                self.server.restart()

    def cuts(self, share: float, seed: int) -> Iterator[Cut]:
        """Power cuts at a share of all the moments that were recorded, in their order. To be asked once, at the end."""
        luck = random.Random(seed)
        with self._log.open(encoding="ascii") as log:
            for time_s in self.disk.follow(log):
                if luck.random() < share:
                    promised = [one for one in self.promised if one.time_s < time_s]
                    yield Cut(time_s, self.disk.left(luck), promised)
        yield Cut(time.time(), self.disk.left(luck), self.promised)


def broken_promises(cut: Cut) -> list[str]:
    """What a server that starts on what is left says otherwise than it did before, in words."""
    with tempfile.TemporaryDirectory(dir=_fast_disk()) as folder:
        put_back(cut.left, Path(folder))
        try:
            return asyncio.run(_broken(Path(folder) / "data", cut.promised))
        except RecordUnusable as error:
            return [f"it does not start: {error}"]


async def _broken(data: Path, promised: list[Promise]) -> list[str]:
    async with open_record(data) as record:  # it also runs SQLite's own check
        page = await hand_out(record, 0, LARGEST_PAGE)
        assert not page.more
        there = {one.change.id: one.seq for one in page.changes}
        photos, desk = PhotoFolder(data), Desk()
        desk.open(record)
        found: list[str] = []
        for one in promised:
            if one.kind == "change" and there.get(one.what["id"]) != one.seq:
                found.append(f"change {one.what['id']} was number {one.seq}, is {there.get(one.what['id'])}")
            elif one.kind == "picture":
                path = photos.find(one.what)
                if path is None or hashlib.sha256(path.read_bytes()).hexdigest() != one.what:
                    found.append(f"picture {one.what[:8]} is {'lost' if path is None else 'another'}")
            elif one.kind == "token":
                try:
                    await desk.phone_with(one.what, "here")
                except Refusal:
                    found.append("a phone that was let in is a stranger")
        return found


@contextmanager
def _asked(server: ServerProcess, method: str, sha256: str) -> Iterator[http.client.HTTPConnection]:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    try:
        connection.putrequest(method, f"/api/photos/{sha256}")
        for name, value in server.with_token().items():
            connection.putheader(name, value)
        yield connection
    finally:
        connection.close()


def _batch(number: int) -> list[Change]:
    bodies = [added(reading(f"r-{number}-{each}")) for each in range(3)] + [fields_set({"title": f"{number}"})]
    return [change(4 * number + each, body) for each, body in enumerate(bodies, start=1)]


def _fast_disk() -> Path | None:
    """Where files lie in memory, for what is looked at once and thrown away."""
    return Path("/dev/shm") if Path("/dev/shm").is_dir() else None
