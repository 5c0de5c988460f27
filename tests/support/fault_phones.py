"""The phones of the fault bench: twins of the protocol that edit, take pictures and try to sync on a bad line."""

import http.client
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from shared_models.base import BODY_V
from tests.support.phone_twin import Twin, batch_of
from tests.support.pictures import noise
from tests.sync.making import added, fields_set, reading, removed

BATCH = 8
PAGE = 40
PAUSE_S = 0.03
SOAK_PAUSE_S = 0.4
GIVES_UP_S = 3.0
YEAR_MS = 31_557_600_000
CLOCKS_OFF_MS = (0, 0, 14 * YEAR_MS, -9 * YEAR_MS, 400_000, -400_000)
"""How far off a phone's clock may jump: right, in the year 2040, years behind, some minutes."""


class Failed(Exception):
    """No usable answer."""


@dataclass
class Size:
    """How much is made and what happens to it. `weather` are the things that happen, in this order.

    `minutes`: the phones go on, slowly, and the weather comes again and again for so long; 0: once. The backup is
    restored in the first of `rounds_a_restore` rounds only: phones then send all they have anew, and what the server
    holds says little until they have.
    """

    phones: int
    changes_a_phone: int
    photos_a_phone: int
    rate: float
    weather: tuple[str, ...]
    between_s: tuple[float, float]
    browsers: int = 0
    minutes: float = 0
    rounds_a_restore: int = 1


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
            for what in self._work():
                self._make(what)
                if self._random.random() < 0.05:
                    self._off_ms, self.clock_jumps = self._random.choice(CLOCKS_OFF_MS), self.clock_jumps + 1
                if self._random.random() < 0.3:
                    self.try_to_sync()
                time.sleep(self._random.uniform(0, 2 * (SOAK_PAUSE_S if self._size.minutes else PAUSE_S)))
            while not self._calm.wait(PAUSE_S):
                self.try_to_sync()
        except BaseException as error:  # shown by the bench
            self.wrong = error

    def _work(self) -> Iterator[str]:
        photos, edits = self._size.photos_a_phone, self._size.changes_a_phone
        left = ["photo"] * photos + ["edit"] * edits
        self._random.shuffle(left)
        yield from left
        while self._size.minutes and not self._calm.is_set():
            yield self._random.choices(("photo", "edit"), (photos, edits))[0]

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
            body = fields_set({name: value}, job, v=BODY_V)  # as today's app; the readings are those of the first
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
