"""Phones, a bad line, and a server that everything happens to; at the end, whether anything was lost or doubled.

Needs a user who may mount (root): the record lies on a small disk of its own, which is filled up.
"""

import asyncio
import http.client
import json
import random
import shutil
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from server.keeping.backup import make_backup
from server.keeping.restore import restore
from tests.browser.server_process import ServerProcess
from tests.support.browser_phones import BrowserPhones
from tests.support.faulty_proxy import FaultyProxy
from tests.support.phone_twin import Change, Own, Twin, batch_of
from tests.support.pictures import noise
from tests.sync.making import added, fields_set, reading, removed
from tests.sync.rig import open_record, whole_state

DISK_BYTES = 160_000_000
BATCH = 8
PAGE = 40
PAUSE_S = 0.03
GIVES_UP_S = 3.0
YEAR_MS = 31_557_600_000
CLOCKS_OFF_MS = (0, 0, 14 * YEAR_MS, -9 * YEAR_MS, 400_000, -400_000)
"""How far off a phone's clock may jump: right, in the year 2040, years behind, some minutes."""


class Failed(Exception):
    """No usable answer."""


@dataclass
class Size:
    """How much is made and what happens to it. `weather` are the things that happen, in this order."""

    phones: int
    changes_a_phone: int
    photos_a_phone: int
    rate: float
    weather: tuple[str, ...]
    between_s: tuple[float, float]
    browsers: int = 0


SHORT = Size(phones=4, changes_a_phone=60, photos_a_phone=2, rate=0.3, between_s=(0.1, 0.3),
             weather=("a backup is made", "the disk fills", "the server is killed", "the backup is restored",
                      "the server is killed"))
LONG = Size(browsers=2, phones=24, changes_a_phone=250, photos_a_phone=5, rate=0.35, between_s=(0.2, 2.0),
            weather=("the server is killed", "the server is killed", "a backup is made", "the disk fills",
                     "the server is killed", "the server hangs", "the disk fills", "the backup is restored",
                     "the server is killed", "a backup is made", "the server hangs", "the server is killed",
                     "the disk fills", "the backup is restored", "the server is killed", "the server is killed"))


@dataclass
class Report:
    """What was injected, and what is there at the end. Whole when `wrong` is empty."""

    injected: Counter[str]
    requests: int
    changes: int = 0
    refused: int = 0
    photos: int = 0
    failed_requests: int = 0
    seconds: float = 0.0
    answers: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A disk of its own for the record. Raises OSError or CalledProcessError where this user may not mount."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES},mode=0700", "tmpfs", str(folder)]
    subprocess.run(command, check=True, capture_output=True, text=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


class Phone(threading.Thread):
    """A twin at work: edits, and tries to sync after each few, until all is made and `calm` is set."""

    def __init__(self, number: int, size: Size, seed: int, port: int, calm: threading.Event) -> None:
        super().__init__(name=f"phone-{number}", daemon=True)
        self._calm = calm
        self._random, self._size, self.port = random.Random(seed * 1000 + number), size, port
        self._off_ms = 0
        self.twin = Twin(self.name, lambda: time.time_ns() // 1_000_000 + self._off_ms)
        self.failed, self.clock_jumps, self.answers = 0, 0, Counter[str]()
        self.wrong: BaseException | None = None

    def run(self) -> None:
        """Ends when all is made; what still waits is sent by the bench at the end."""
        try:
            left = ["photo"] * self._size.photos_a_phone + ["edit"] * self._size.changes_a_phone
            self._random.shuffle(left)
            for what in left:
                self._make(what)
                if self._random.random() < 0.05:
                    self._off_ms, self.clock_jumps = self._random.choice(CLOCKS_OFF_MS), self.clock_jumps + 1
                if self._random.random() < 0.3:
                    self.try_to_sync()
                time.sleep(self._random.uniform(0, 2 * PAUSE_S))
            while not self._calm.wait(PAUSE_S):
                self.try_to_sync()
        except BaseException as error:  # shown by the bench
            self.wrong = error

    def _make(self, what: str) -> None:
        job = f"job-{self._random.randrange(6)}"
        if what == "photo":
            width = self._random.randrange(300, 700)
            self.twin.photograph(noise(width, 300), job, width, 300)
            return
        number = len(self.twin.outbox)
        known = [key.partition("/")[2] for key in self.twin.facts if key.startswith("reading/")]
        draw = self._random.random()
        if draw < 0.6:
            body = added(reading(f"{self.name}-r{number}", job, as_typed=str(self._random.randrange(1000))))
        elif draw < 0.85:
            name, value = self._random.choice([("title", f"{self.name} {number}"), ("note", f"n{number}"),
                                               ("air_c", float(number % 40)), ("tray", "ready")])
            body = fields_set({name: value}, job)
        elif draw < 0.92 and known:
            body = removed(self._random.choice(known), why="doubled")
        elif draw < 0.95:
            body = fields_set({"title": "made by a newer app", "shelf": number}, job, v=99)
        else:
            # what no shop takes: it must show as refused, and hold up nothing
            body = added({**reading(f"{self.name}-bad{number}", job), "kind": "no such kind"})
        self.twin.edit(body)

    def try_to_sync(self) -> bool:
        """One round, as far as it comes; whether it came to its end."""
        try:
            self._sync()
            return True
        except Failed:
            self.failed += 1
            return False

    def _sync(self) -> None:
        twin = self.twin
        if not twin.token:
            twin.token = json.loads(self._ask("POST", "/api/pair-here", b"")[1])["token"]
        while batch := twin.waiting(BATCH):
            twin.note_answer(json.loads(self._ask("POST", "/api/changes", batch_of(batch))[1]))
        while twin.keep_page(json.loads(self._ask("GET", f"/api/changes?after={twin.cursor}&limit={PAGE}")[1])):
            pass
        while waiting := twin.waiting(BATCH):
            twin.note_answer(json.loads(self._ask("POST", "/api/changes", batch_of(waiting))[1]))
        for sha256 in sorted(twin.pictures_waiting):
            self._send(sha256, twin.pictures[sha256])
            twin.pictures_waiting.discard(sha256)

    def _send(self, sha256: str, raw: bytes) -> None:
        headers, _ = self._ask("HEAD", f"/api/photos/{sha256}", also=(404,))
        if headers.get("content-length") == str(len(raw)):
            return
        there = int(headers.get("upload-offset", 0))
        if there:
            self.answers["picture continued"] += 1
        self._ask("PUT", f"/api/photos/{sha256}", raw[there:], {"Upload-Offset": str(there)})

    def _ask(
        self, method: str, path: str, body: bytes | None = None, more: dict[str, str] | None = None,
        also: tuple[int, ...] = (),
    ) -> tuple[dict[str, str], bytes]:
        headers = {"Authorization": f"Bearer {self.twin.token}", **(more or {})}
        headers["Content-Type"] = "application/json" if method == "POST" else "image/jpeg"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=GIVES_UP_S)
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            given = {name.lower(): value for name, value in answer.getheaders()}, answer.read()
        except (OSError, http.client.HTTPException) as error:
            raise Failed(str(error)) from error
        finally:
            connection.close()
        self.answers[f"answer {answer.status}"] += 1
        if answer.status == 401:
            self.twin.token = ""  # a restored record does not know it: this machine's phones let themselves in anew
        if answer.status >= 300 and answer.status not in also:
            raise Failed(f"{answer.status}: {given[1][:300]!r}")
        return given


class Bench:
    """One run. `folder` is empty and mounted (`small_disk`); `seed` decides what is made and what happens."""

    def __init__(
        self, folder: Path, size: Size, seed: int, say: Callable[[str], None] = lambda _: None, app: Path | None = None,
    ) -> None:
        self._folder, self._size, self._say, self._seed = folder, size, say, seed
        self._random = random.Random(seed)
        self.server = ServerProcess(folder / "data", app or folder / "no-app")
        self._browser: BrowserPhones | None = None
        (folder / "data").mkdir(mode=0o700)
        self.proxy = FaultyProxy(self.server.port, seed, size.rate)
        self.proxy.start()
        self._calm = threading.Event()
        self.phones = [Phone(number, size, seed, self.proxy.port, self._calm) for number in range(size.phones)]
        self.injected: Counter[str] = Counter()
        self._backups: list[Path] = []

    def run(self) -> Report:
        """Everything, and the account of it."""
        began = time.monotonic()
        self.server.start()
        if self._size.browsers:
            url = f"http://127.0.0.1:{self.proxy.port}"
            self._browser = BrowserPhones(
                self._size.browsers, url, self._seed, self._size.changes_a_phone // 3, self._calm)
            self._browser.start()
            self._browser.ready.wait()
        for phone in self.phones:
            phone.start()
        for what in self._size.weather:
            time.sleep(self._random.uniform(*self._size.between_s))
            self._say(what)
            self._happen(what)
        self._calm.set()
        for phone in self.phones:
            phone.join()
            if phone.wrong is not None:
                raise phone.wrong
        self.proxy.rate = 0.0
        self._settle()
        held = [] if self._browser is None else self._browser.hold()
        if self._browser is not None:
            self._browser.end()
        self.proxy.stop()
        log = self.server.changes()
        self.server.kill()
        report = asyncio.run(self._account(log, held))
        report.seconds = time.monotonic() - began
        return report

    def _happen(self, what: str) -> None:
        self.injected[what] += 1
        data = self.server.data_dir
        match what:
            case "the server is killed":
                self.server.kill()
                time.sleep(self._random.uniform(0.0, 0.3))
                self.server.start()
            case "the server hangs":
                self.server.freeze()
                time.sleep(GIVES_UP_S + 0.5)
                self.server.thaw()
            case "the disk fills":
                balloon = self._folder / "balloon"
                with balloon.open("wb", buffering=0) as file:
                    try:
                        while True:
                            file.write(bytes(65536))
                    except OSError:
                        pass  # it is full
                time.sleep(self._random.uniform(0.3, 0.8))
                balloon.unlink()
            case "a backup is made":
                to = self._folder / f"backup-{len(self._backups)}.zip"
                make_backup(data, to)
                self._backups.append(to)
            case "the backup is restored":
                restore(data, self._backups[-1])
                for kept in data.glob("record-before-restore-*"):
                    shutil.move(kept, self._folder.parent)  # the small disk is for what is tried

    def _settle(self) -> None:
        """The faults are over: every phone comes to its end, and then has what the others sent last."""
        for _ in range(2):
            for phone in self.phones:
                tries = 0
                while not (phone.try_to_sync() and phone.twin.is_idle()):
                    tries += 1
                    if tries > 50:
                        raise AssertionError(f"{phone.name} never came to its end")
                    time.sleep(0.05)
            tries = 0
            while self._browser is not None and not self._browser.settle():
                tries += 1
                if tries > 50:
                    raise AssertionError("a phone in Chromium never came to its end")

    async def _account(self, log: list[dict[str, Any]], held: list[dict[str, Any]]) -> Report:
        self.injected.update(self.proxy.injected)
        self.injected["a phone's clock jumps"] = sum(phone.clock_jumps for phone in self.phones)
        report = Report(self.injected, self.proxy.requests)
        report.failed_requests = sum(phone.failed for phone in self.phones)
        for phone in self.phones:
            report.answers.update(phone.answers)
        made = {own.change["id"]: own for phone in self.phones for own in phone.twin.outbox}
        made |= {own["change"]["id"]: Own(own["change"], own["status"]) for one in held for own in one["changes"]}
        refused = {key for key, own in made.items() if own.status == "refused"}
        ought_to_be_refused = {key for key, own in made.items() if _is_bad(own.change)}
        report.changes, report.refused = len(made), len(refused)
        if refused != ought_to_be_refused:
            report.wrong.append(f"refused, but right: {refused - ought_to_be_refused}; {ought_to_be_refused - refused}")
        there = Counter(one["change"]["id"] for one in log)
        if lost := (made.keys() - refused) - there.keys():
            report.wrong.append(f"{len(lost)} changes are lost: {sorted(lost)[:5]}")
        if strange := there.keys() - (made.keys() - refused):
            report.wrong.append(f"{len(strange)} changes nobody made: {sorted(strange)[:5]}")
        if doubled := [key for key, count in there.items() if count > 1]:
            report.wrong.append(f"{len(doubled)} changes are there twice: {doubled[:5]}")
        if altered := [key for key, change in _by_id(log) if key in made and change != _on_the_wire(made[key].change)]:
            report.wrong.append(f"{len(altered)} changes were altered: {altered[:5]}")
        self._look_at_photos(report)
        async with open_record(self.server.data_dir) as database:  # it also runs SQLite's own check
            state = await whole_state(database)
        for phone in self.phones:
            if phone.twin.state(refused) != state:
                report.wrong.append(f"{phone.name} and the shop differ")
        for one in held:
            if one["state"] != state:
                report.wrong.append("a phone in Chromium and the shop differ")
        return report

    def _look_at_photos(self, report: Report) -> None:
        pictures = {sha256: raw for phone in self.phones for sha256, raw in phone.twin.pictures.items()}
        pictures |= {} if self._browser is None else self._browser.pictures
        report.photos = len(pictures)
        folder = self.server.data_dir / "photos"
        there = {path.name: path.read_bytes() for path in folder.iterdir()} if folder.is_dir() else {}
        if there != pictures:
            report.wrong.append(f"of {len(pictures)} pictures {len(there)} are there, or not the same ones")


def _by_id(log: list[dict[str, Any]]) -> list[tuple[str, Change]]:
    return [(one["change"]["id"], one["change"]) for one in log]


def _on_the_wire(change: Change) -> Change:
    return {name: value for name, value in change.items() if name != "actor" or value}


def _is_bad(change: Change) -> bool:
    return change["body"].get("record", {}).get("kind") == "no such kind"
