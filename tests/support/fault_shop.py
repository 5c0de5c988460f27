"""The shop of the fault bench: a server on a small disk, and everything that happens to it."""

import random
import shutil
import time
from dataclasses import dataclass
from pathlib import Path

from server.keeping.backup import make_backup
from tests.browser.server_process import ServerProcess
from tests.support import forked_server
from tests.support.fault_phones import CLOCKS_OFF_MS, GIVES_UP_S, YEAR_MS
from tests.support.forked_server import ForkedServer
from tests.support.moved_clock import MovedClock
from tests.support.recorded_disk import RecordedDisk, put_back, recording

JUMPS_MS = (3_600_000, -3_600_000, 0, 14 * YEAR_MS, 0, -9 * YEAR_MS, 0)
"""How far off the server's clock is, one after the other: an hour, years, and right again in between."""
FURTHEST_MS = max(JUMPS_MS) + max(CLOCKS_OFF_MS) - min(CLOCKS_OFF_MS) + 600_000
"""So far ahead a stamp may be: a phone that is years behind hears a server that is years ahead, and its clock jumps
ahead before it hears it again. With what another phone's stamp may pull it further."""


@dataclass
class Held:
    """What the server holds at a moment: of memory, open files, on the disk, and how many changes that are."""

    changes: int
    memory_mb: float
    open_files: int
    record_mb: float
    log_mb: float


class FaultShop:
    """`folder` is empty and mounted. `loses_power`: what its disk is asked is recorded, so that power can go."""

    def __init__(self, folder: Path, app: Path, luck: random.Random, *, loses_power: bool) -> None:
        self._folder, self._luck = folder, luck
        self.data = folder / "data"
        self.data.mkdir(mode=0o700)
        self.clock = MovedClock(folder.with_name(folder.name + "-clock"))
        self._calls = folder.with_name(folder.name + "-calls")
        self._under = tuple(recording(self._calls)) if loses_power else ()
        self._disk = RecordedDisk(self.data)
        self._followed = 0
        self.server = ServerProcess(self.data, app, self._under, self.clock.path)
        self._backups: list[Path] = []
        self._jumps = 0

    def end(self) -> None:
        """Nothing of it runs any more."""
        self.server.kill()
        if self._under:
            forked_server.end_all(self._under)

    def kill_and_start(self) -> None:
        """kill -9, and a new start."""
        self.server.kill()
        time.sleep(self._luck.uniform(0.0, 0.3))
        self.server.start()

    def cut_power(self) -> None:
        """The machine goes out; the server starts on what its disk was surely left with, and some of the rest."""
        self.server.kill()
        with self._calls.open(encoding="ascii") as calls:
            calls.seek(self._followed)
            for _ in self._disk.follow(iter(calls.readline, "")):
                pass
            self._followed = calls.tell()
        left = self._disk.left(self._luck)
        shutil.rmtree(self.data)
        put_back(left, self._folder)
        self._disk.begin_anew()
        self.server.start()

    def hang(self) -> None:
        """It answers nobody for longer than a phone waits."""
        self.server.freeze()
        time.sleep(GIVES_UP_S + 0.5)
        self.server.thaw()

    def fill_disk(self) -> None:
        """Its disk is full for a moment."""
        balloon = self._folder / "balloon"
        with balloon.open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(bytes(65536))
            except OSError:
                pass  # it is full
        time.sleep(self._luck.uniform(0.3, 0.8))
        balloon.unlink()

    def make_backup(self) -> None:
        """A copy of the record, beside the small disk."""
        to = self._folder.with_name(f"{self._folder.name}-backup-{len(self._backups)}.zip")
        make_backup(self.data, to)
        self._backups.append(to)

    def restore_backup(self) -> None:
        """The last copy is put in place while the server runs."""
        words = ["restore", str(self._backups[-1]), "--data", str(self.data)]
        restoring = ForkedServer(words, self._folder.parent / "restore.log", self._under)
        assert restoring.wait() == 0, (self._folder.parent / "restore.log").read_text()
        for kept in self.data.glob("record-before-restore-*"):
            # The small disk is for what is tried. The power may bring one back that was moved before.
            shutil.move(kept, self._folder.parent / kept.name)
            self._disk.takes_away(kept)

    def jump(self) -> None:
        """Its clock is an hour or years off, or right again."""
        self.clock.set_off(JUMPS_MS[self._jumps % len(JUMPS_MS)])
        self._jumps += 1
        said_off_ms = self.server.get("/api/health")["server_ms"] - time.time_ns() // 1_000_000
        assert abs(said_off_ms - self.clock.off_ms) < 60_000, f"its clock does not follow: {said_off_ms}"

    def set_clock_right(self) -> None:
        """Its clock is right from now on."""
        self.clock.set_off(0)

    def held(self) -> Held:
        """What the running server holds now."""
        status = Path(f"/proc/{self.server.pid}/status").read_text()
        memory_kb = int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])
        open_files = sum(1 for _ in Path(f"/proc/{self.server.pid}/fd").iterdir())
        record, log = self.data / "record.sqlite3", self.data / "record.sqlite3-wal"
        return Held(
            changes=self.server.get("/api/health")["changes"], memory_mb=memory_kb / 1024, open_files=open_files,
            record_mb=record.stat().st_size / 1e6, log_mb=log.stat().st_size / 1e6,
        )
