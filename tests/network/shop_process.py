"""`secondprobe serve` as a shop runs it, in a process of its own, and what it says."""

import http.client
import json
import os
import re
import signal
import ssl
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.sync.process import ROOT, free_port

START_WITHIN_S = 60.0


class ShopProcess:
    """A server with its own authority unless `options` say otherwise; `said` is all it has printed."""

    def __init__(self, folder: Path, *options: str, app: Path | None = None, in_namespace: str | None = None) -> None:
        self.data_dir, self.log = folder / "data", folder / "said.txt"
        self.port, self.page_port = free_port(), free_port()
        self.options, self.app = options, app
        self.before = ["ip", "netns", "exec", in_namespace] if in_namespace else []
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8") if self.log.exists() else ""

    def command(self) -> list[str]:
        """What is started."""
        ports = ["--port", str(self.port), "--page-port", str(self.page_port)]
        app = ["--app", str(self.app)] if self.app else []
        own = [sys.executable, "-m", "server.cli", "serve", "--data", str(self.data_dir)]
        return [*self.before, *own, *ports, *app, *self.options]

    def start(self) -> "ShopProcess":
        """Starts it and waits until it says where it is."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.command(), cwd=ROOT, stdout=log, stderr=log)
        self.wait_for("keeps its record in")
        return self

    def wait_for(self, words: str, times: int = 1) -> str:
        """Waits until it has said this so often; gives all it said."""
        give_up_at = time.monotonic() + START_WITHIN_S
        while self.said.count(words) < times:
            assert self.process is not None and self.process.poll() is None, f"it ended:\n{self.said[-3000:]}"
            assert time.monotonic() < give_up_at, f"it never said {words!r}:\n{self.said[-3000:]}"
            time.sleep(0.05)
        return self.said

    def first_code(self) -> str:
        """The code for the first phone, which stands on its screen."""
        found = re.search(r"code ([2-9A-Z]{4}-[2-9A-Z]{4})\n", self.wait_for("Later: secondprobe pair"))
        assert found
        return found[1]

    def trust(self) -> ssl.SSLContext:
        """A client that trusts this shop's authority and nobody else."""
        return ssl.create_default_context(cafile=str(self.data_dir / "tls" / "authority.pem"))

    def ask(self, method: str, path: str, body: Any = None, token: str | None = None) -> tuple[int, Any]:
        """One request over HTTPS to 127.0.0.1; status and JSON."""
        headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {token}"} if token else {})
        connection = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=30, context=self.trust())
        try:
            connection.request(method, path, None if body is None else json.dumps(body), headers)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read() or b"null")
        finally:
            connection.close()

    def pair_first(self) -> str:
        """The token of the first phone, an owner's."""
        status, paired = self.ask("POST", "/api/pair", {"code": self.first_code()})
        assert status == 200, paired
        return paired["token"]

    def send(self, which: signal.Signals) -> None:
        assert self.process is not None
        os.kill(self.process.pid, which)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        """Ends it and gives its exit status; no error when it has ended."""
        if self.process is None:
            return 0
        if self.process.poll() is None:
            self.process.send_signal(how)
        status = self.process.wait(timeout=30)
        self.process = None
        return status


def run_to_its_end(shop: ShopProcess) -> tuple[int, str, str]:
    """Starts a server that cannot serve; status, output and errors."""
    done = subprocess.run(shop.command(), cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    return done.returncode, done.stdout, done.stderr
