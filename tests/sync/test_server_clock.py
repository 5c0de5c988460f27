"""The server's own clock is put years ahead or back while phones work: what it then must not do."""

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.server_process import ServerProcess
from tests.support.moved_clock import MovedClock
from tests.sync.making import added, change, fields_set, reading

MINUTE_MS, YEAR_MS = 60_000, 31_557_600_000
WITHIN_S = 30


class ClockedShop:
    """A running server, the hand on its clock, and what it has said."""

    def __init__(self, folder: Path) -> None:
        self.clock = MovedClock(folder / "clock")
        self._log = folder / "server.log"
        self.server = ServerProcess(folder / "data", folder / "no-app", clock=self.clock.path)

    def look_now(self, until_it_says: str) -> None:
        """Has it look at what it looks at every day, and waits for these words."""
        os.kill(self.server.pid, signal.SIGHUP)
        until = time.monotonic() + WITHIN_S
        while until_it_says not in (said := self._log.read_text()):
            assert time.monotonic() < until, f"it never said {until_it_says!r}:\n{said}"
            time.sleep(0.01)

    def title(self) -> str:
        """The title of job-1, by the last of its changes."""
        titles = [body["fields"]["title"] for body in (one["change"]["body"] for one in self.server.changes())
                  if body["what"] == "fields_set" and "title" in body["fields"]]
        return titles[-1]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[ClockedShop]:
    made = ClockedShop(tmp_path)
    made.server.start()
    yield made
    made.server.kill()


def test_nothing_is_forgotten_by_a_clock_that_was_put_ahead_until_the_server_starts_anew_by_it(
    shop: ClockedShop,
) -> None:
    shop.server.post("/api/changes", {"changes": [
        change(1, fields_set({"title": "Mrs Quillfeather's tablet", "tray": "gone"}),
               hlc_ms=time.time_ns() // 1_000_000)]})
    shop.clock.set_off(2 * YEAR_MS)
    shop.look_now("put ahead by 730 days")
    assert shop.title() == "Mrs Quillfeather's tablet"
    shop.server.restart()
    shop.look_now("pictures of 1 jobs")
    assert shop.title() == "", "who starts it by that clock means it"


def test_a_phone_that_is_paired_sends_and_fetches_whatever_the_servers_clock_says(shop: ClockedShop) -> None:
    for number, off_ms in enumerate((0, -9 * YEAR_MS, 0, -3_600_000, 3_600_000, 14 * YEAR_MS, 0), start=1):
        shop.clock.set_off(off_ms)
        assert abs(shop.server.get("/api/health")["server_ms"] - off_ms - time.time() * 1000) < MINUTE_MS
        sent = shop.server.post("/api/changes", {"changes": [change(number, added(reading(f"r-{number}")))]})
        assert [one["result"] for one in sent["answers"]] == ["stored"]
        assert [one["seq"] for one in shop.server.changes()] == list(range(1, number + 1))
