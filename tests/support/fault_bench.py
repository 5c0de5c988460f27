"""Phones, a bad line, and a server that everything happens to; at the end, whether anything was lost or doubled.

Needs a user who may mount (root): the record lies on a small disk of its own, which is filled up.
"""

import asyncio
import random
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.support.browser_phones import BrowserPhones
from tests.support.fault_phones import Phone, Size
from tests.support.fault_shop import FURTHEST_MS, FaultShop, Held
from tests.support.faulty_proxy import FaultyProxy
from tests.support.phone_twin import Change, Own
from tests.sync.rig import open_record, whole_state

DISK_BYTES = 160_000_000
HARMLESS = ("answer 200", "answer 201", "answer 404", "answer 507", "picture continued")
"""What a phone may be answered here: it was taken, the picture is not here yet, the disk is full."""

SHORT = Size(phones=4, changes_a_phone=60, photos_a_phone=2, rate=0.3, between_s=(0.1, 0.3),
             weather=("a backup is made", "the server's clock jumps", "the disk fills", "the server's clock jumps",
                      "the server is killed", "the backup is restored", "the server's clock jumps",
                      "the server's clock jumps", "the server is killed"))
LONG = Size(browsers=2, phones=24, changes_a_phone=250, photos_a_phone=5, rate=0.35, between_s=(0.2, 2.0),
            weather=("the server is killed", "the power goes", "a backup is made", "the disk fills",
                     "the server's clock jumps", "the server is killed", "the server hangs", "the power goes",
                     "the server's clock jumps", "the disk fills", "the backup is restored", "the power goes",
                     "the server's clock jumps", "the server is killed", "a backup is made", "the server hangs",
                     "the server's clock jumps", "the power goes", "the server is killed", "the server's clock jumps",
                     "the disk fills", "the backup is restored", "the server is killed", "the power goes",
                     "the server's clock jumps", "the server is killed", "the server's clock jumps", "the power goes"))
SOAK = Size(browsers=1, phones=6, changes_a_phone=98, photos_a_phone=2, rate=0.3, between_s=(1.0, 8.0), minutes=15,
            rounds_a_restore=5,
            weather=("the server's clock jumps", "a backup is made", "the disk fills", "the server hangs",
                     "the server's clock jumps", "the backup is restored", "the server's clock jumps"))
"""Nothing starts the server anew: what it holds must stay level, or grow with the record alone."""


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


class Bench:
    """One run. `folder` is empty and mounted (`small_disk`); `seed` decides what is made and what happens."""

    def __init__(
        self, folder: Path, size: Size, seed: int, say: Callable[[str], None] = lambda _: None, app: Path | None = None,
    ) -> None:
        self._size, self._say, self._seed = size, say, seed
        self._random = random.Random(seed)
        loses_power = "the power goes" in size.weather
        self.shop = FaultShop(folder, app or folder / "no-app", self._random, loses_power=loses_power)
        self.server = self.shop.server
        self._browser: BrowserPhones | None = None
        self.proxy = FaultyProxy(self.server.port, seed, size.rate)
        self.proxy.start()
        self._calm = threading.Event()
        self.phones = [Phone(number, size, seed, self.proxy.port, self._calm) for number in range(size.phones)]
        self.injected: Counter[str] = Counter()
        self.rounds: list[Held] = []

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
        self._live(began)
        self._calm.set()
        self.shop.set_clock_right()
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

    def _live(self, began: float) -> None:
        until = began + 60 * self._size.minutes
        while not self.rounds or time.monotonic() < until:
            for what in self._size.weather:
                if what == "the backup is restored" and len(self.rounds) % self._size.rounds_a_restore:
                    continue
                time.sleep(self._random.uniform(*self._size.between_s))
                self._say(what)
                self._happen(what)
            self.rounds.append(self.shop.held())

    def _happen(self, what: str) -> None:
        self.injected[what] += 1
        match what:
            case "the server is killed":
                self.shop.kill_and_start()
            case "the power goes":
                self.shop.cut_power()
            case "the server hangs":
                self.shop.hang()
            case "the disk fills":
                self.shop.fill_disk()
            case "a backup is made":
                self.shop.make_backup()
            case "the backup is restored":
                self.shop.restore_backup()
            case "the server's clock jumps":
                self.shop.jump()
            case _:
                raise AssertionError(f"nobody knows how it happens: {what}")

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
        self._look_at_answers(report)
        self._look_at_stamps(report, log)
        async with open_record(self.shop.data) as database:  # it also runs SQLite's own check
            state = await whole_state(database)
        for phone in self.phones:
            if (own := phone.twin.state(refused)) != state:
                report.wrong.append(f"{phone.name} and the shop differ: {_difference(own, state)}")
        for one in held:
            if one["state"] != state:
                report.wrong.append(f"a phone in Chromium and the shop differ: {_difference(one['state'], state)}")
        return report

    def _look_at_photos(self, report: Report) -> None:
        pictures = {sha256: raw for phone in self.phones for sha256, raw in phone.twin.pictures.items()}
        pictures |= {} if self._browser is None else self._browser.pictures
        report.photos = len(pictures)
        folder = self.shop.data / "photos"
        there = {path.name: path.read_bytes() for path in folder.iterdir()} if folder.is_dir() else {}
        if there != pictures:
            report.wrong.append(f"of {len(pictures)} pictures {len(there)} are there, or not the same ones")


    def _look_at_answers(self, report: Report) -> None:
        """No phone may be told that it is wrong, or a stranger, but by a record from before it was paired."""
        harmless = {*HARMLESS} | ({"answer 401"} if self.injected["the backup is restored"] else set())
        if others := {what: count for what, count in report.answers.items() if what not in harmless}:
            report.wrong.append(f"answers that nobody should get: {others}")

    def _look_at_stamps(self, report: Report, log: list[dict[str, Any]]) -> None:
        """Times of one phone only rise, and no clock that was ahead has sent them further than it was."""
        latest_ms = time.time_ns() // 1_000_000 + FURTHEST_MS
        last: dict[str, str] = {}
        changes = sorted((one["change"] for one in log), key=lambda one: (one["device"], one["device_seq"]))
        for change in changes:
            if change["hlc"] <= last.get(change["device"], ""):
                report.wrong.append(f"{change['id']} is not after the change before it: {change['hlc']}")
            last[change["device"]] = change["hlc"]
        if beyond := [one["id"] for one in changes if int(one["hlc"][:15]) > latest_ms]:
            report.wrong.append(f"{len(beyond)} changes are of a time that no clock has shown: {beyond[:5]}")


def _difference(mine: dict[str, Any], shops: dict[str, Any]) -> str:
    """Where two records part, as far as a line holds it."""
    parts = [f"{part} {key}: {mine[part].get(key)} but {shops[part].get(key)}"
             for part in ("facts", "fields") for key in sorted(mine[part].keys() | shops[part].keys())
             if mine[part].get(key) != shops[part].get(key)]
    parts += [f"{part}: {sorted(set(mine[part]) ^ set(shops[part]))}"
              for part in ("removed", "newer") if mine[part] != shops[part]]
    return "; ".join(parts)[:600]


def _by_id(log: list[dict[str, Any]]) -> list[tuple[str, Change]]:
    return [(one["change"]["id"], one["change"]) for one in log]


def _on_the_wire(change: Change) -> Change:
    return {name: value for name, value in change.items() if name != "actor" or value}


def _is_bad(change: Change) -> bool:
    return change["body"].get("record", {}).get("kind") == "no such kind"
