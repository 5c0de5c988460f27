"""A real server process on a port of its own, and plain requests to it."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
START_WITHIN_S = 30.0


def free_port() -> int:
    """A loopback port that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class ServerProcess:
    """`secondprobe serve` on `data_dir`; `kill` is kill -9, `stop` what Ctrl-C does."""

    def __init__(self, data_dir: Path, port: int) -> None:
        self.data_dir, self.port = data_dir, port
        self.token: str | None = None
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Starts it and waits for its first answer."""
        command = [sys.executable, "-m", "server.cli", "serve", "--this-machine", "--data", str(self.data_dir)]
        command += ["--port", str(self.port)]
        with (self.data_dir.parent / "server.log").open("ab") as log:
            self.process = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)
        give_up_at = time.monotonic() + START_WITHIN_S
        while True:
            try:
                self.request("GET", "/api/health")
                self.token = self.request("POST", "/api/pair-here")["token"]
                return
            except OSError:
                status = self.process.poll()
                if status is not None:
                    self.process = None
                    said = (self.data_dir.parent / "server.log").read_text(encoding="utf-8")
                    raise AssertionError(f"the server ended with status {status}:\n{said[-2000:]}") from None
                assert time.monotonic() < give_up_at, f"no answer within {START_WITHIN_S} s"
                time.sleep(0.05)

    def kill(self) -> None:
        """kill -9: the process gets no chance to do anything."""
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        """Ctrl-C; gives the exit status."""
        return self._end(signal.SIGINT)

    def _end(self, how: signal.Signals) -> int:
        assert self.process is not None
        os.kill(self.process.pid, how)
        status = self.process.wait(timeout=30)
        self.process = None
        return status

    def request(self, method: str, path: str, body: Any = None) -> Any:
        """One request; raises OSError when the server is gone before its answer is whole."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            headers = {"Content-Type": "application/json"}
            if self.token is not None:
                headers["Authorization"] = f"Bearer {self.token}"
            connection.request(method, path, None if body is None else json.dumps(body), headers)
            answer = connection.getresponse()
            text = answer.read()
        except http.client.HTTPException as error:  # cut off in the middle of an answer
            raise OSError(str(error)) from error
        finally:
            connection.close()
        assert answer.status == 200, text
        return json.loads(text)

    def all_changes(self) -> list[dict[str, Any]]:
        """Everything the server hands out, page by page."""
        after, seen = 0, []
        while True:
            page = self.request("GET", f"/api/changes?after={after}&limit=100")
            seen += page["changes"]
            after = page["next_after"]
            if not page["more"]:
                return seen
