"""kill -9 of a real server in the middle of pushes: what was answered is there, and nothing is there twice."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.sync.making import added, change, fields_set, reading
from tests.sync.process import ServerProcess, free_port

ROUNDS = 3
CHANGES_OF_A_DEVICE = 240
BATCH = 6


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ServerProcess]:
    """A server that is started by the test and never outlives it."""
    (tmp_path / "data").mkdir()
    server = ServerProcess(tmp_path / "data", free_port())
    yield server
    if server.process is not None:
        server.kill()


class Device(threading.Thread):
    """Pushes its outbox in batches until the server is gone, keeping what was not answered."""

    def __init__(
        self, name: str, server: ServerProcess, outbox: list[dict[str, Any]], acknowledged: dict[str, int]
    ) -> None:
        super().__init__(name=name)
        self.server, self.outbox, self.acknowledged = server, outbox, acknowledged
        self.unforeseen: BaseException | None = None

    def run(self) -> None:
        """Ends when the outbox is empty or the server is gone."""
        try:
            while self.outbox:
                answer = self.server.request("POST", "/api/changes", {"changes": self.outbox[:BATCH]})
                for one in answer["answers"]:
                    assert one["result"] in ("stored", "had"), one
                    self.acknowledged[one["id"]] = one["seq"]
                del self.outbox[:BATCH]
        except OSError:
            pass  # the server is gone; the outbox keeps what was not answered
        except BaseException as error:
            self.unforeseen = error


def outbox_of(device: str) -> list[dict[str, Any]]:
    """Readings and edits by turns."""
    return [
        change(n, added(reading(f"{device}-r{n}")) if n % 2 else fields_set({"title": f"{device} {n}"}), device)
        for n in range(1, CHANGES_OF_A_DEVICE + 1)
    ]


def test_nothing_answered_is_lost_and_nothing_is_doubled(server: ServerProcess) -> None:
    outboxes = {device: outbox_of(device) for device in ("phone-a", "phone-b", "phone-c")}
    all_sent = {one["id"]: one for outbox in outboxes.values() for one in outbox}
    acknowledged: dict[str, int] = {}
    for round_number in range(1, ROUNDS + 1):
        server.start()
        devices = [Device(name, server, outbox, acknowledged) for name, outbox in outboxes.items()]
        for device in devices:
            device.start()
        enough = len(acknowledged) + round_number * 60
        while len(acknowledged) < enough and any(device.is_alive() for device in devices):
            devices[0].join(0.001)
        in_the_middle = any(device.is_alive() for device in devices)
        server.kill()
        for device in devices:
            device.join()
            assert device.unforeseen is None, device.unforeseen
        assert in_the_middle, "every push was over before the kill: the test has shown nothing"

        server.start()
        handed_out = {one["change"]["id"]: one["seq"] for one in server.all_changes()}
        assert acknowledged.items() <= handed_out.items()
        server.kill()

    server.start()
    for name, outbox in outboxes.items():
        finisher = Device(name, server, outbox, acknowledged)
        finisher.run()
        assert finisher.unforeseen is None and not outbox
    log = server.all_changes()
    assert sorted(one["change"]["id"] for one in log) == sorted(all_sent)
    assert [one["seq"] for one in log] == sorted({one["seq"] for one in log})
    assert all(one["change"] == all_sent[one["change"]["id"]] for one in log)
    assert {one["change"]["id"]: one["seq"] for one in log} == acknowledged
    assert server.stop() == 0
