"""A real server in a process of its own, so that a test can kill it and start it again."""

import http.client
import json
import os
import signal
import socket
import time
from pathlib import Path
from typing import Any

from tests.support.forked_server import ForkedServer

ROOT = Path(__file__).resolve().parents[2]
START_S = 30


def free_port() -> int:
    """A port that nothing listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class ServerProcess:
    """The shop's server with the record in `data_dir` and the app in `app_dir`.

    The port stays over restarts: the address is the app's identity.
    """

    def __init__(
        self, data_dir: Path, app_dir: Path, under: tuple[str, ...] = (), clock: Path | None = None,
    ) -> None:
        self.data_dir, self._under, self._clock = data_dir, under, clock
        self.app_dir = app_dir
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: ForkedServer | None = None
        self._token: str | None = None

    def start(self) -> None:
        """Starts and waits until it answers.

        Raises:
            RuntimeError: it ended at once, or gave no answer in time; with what it said.
        """
        log_path = self.data_dir.parent / "server.log"
        words = ["serve", "--this-machine", "--port", str(self.port)]
        words += ["--data", str(self.data_dir), "--app", str(self.app_dir)]
        self._process = ForkedServer(words, log_path, self._under, self._clock)
        until = time.monotonic() + START_S
        while time.monotonic() < until and self._process.poll() is None:
            if self._answers():
                self._token = self.post("/api/pair-here", {})["token"]
                return
            time.sleep(0.02)
        self.kill()
        raise RuntimeError(f"the server did not start:\n{log_path.read_text(errors='replace')[-2000:]}")

    @property
    def pid(self) -> int:
        """Of the running server."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """Ends it without a chance to finish anything."""
        if self._process is not None:
            self._process.kill()
            self._process = None

    def restart(self) -> None:
        """Kills it if it runs, and starts it on the same record and port."""
        self.kill()
        self.start()

    def freeze(self) -> None:
        """Stops it from answering while it still accepts connections."""
        assert self._process is not None
        os.kill(self._process.pid, signal.SIGSTOP)

    def thaw(self) -> None:
        """Lets it go on after `freeze`."""
        assert self._process is not None
        os.kill(self._process.pid, signal.SIGCONT)

    def post(self, path: str, body: object) -> dict[str, Any]:
        """POSTs JSON and gives the answer's JSON.

        Raises:
            AssertionError: the answer is not a success.
        """
        return self._ask("POST", path, json.dumps(body).encode())

    def get(self, path: str) -> dict[str, Any]:
        """GETs JSON; raises like `post`."""
        return self._ask("GET", path, None)

    def changes(self) -> list[dict[str, Any]]:
        """Every change of the log, in its order, as {"seq", "change"}."""
        found: list[dict[str, Any]] = []
        after, more = 0, True
        while more:
            page = self.get(f"/api/changes?after={after}")
            found += page["changes"]
            after, more = page["next_after"], page["more"]
        return found

    def with_token(self) -> dict[str, str]:
        """The header by which this test is a paired phone."""
        return {} if self._token is None else {"Authorization": f"Bearer {self._token}"}

    def _ask(self, method: str, path: str, body: bytes | None) -> dict[str, Any]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            headers = {"Content-Type": "application/json"} if body else {}
            connection.request(method, path, body, headers | self.with_token())
            response = connection.getresponse()
            text = response.read()
            assert 200 <= response.status < 300, f"{method} {path} answered {response.status}: {text[:500]!r}"
            return json.loads(text)
        finally:
            connection.close()

    def _answers(self) -> bool:
        try:
            return bool(self.get("/api/health")["ok"])
        except OSError:
            return False
