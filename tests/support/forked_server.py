"""`secondprobe serve` in a process of its own that need not import its libraries first.

One process of the tests (`fork_servers`) has imported all that the command imports and waits; each server is a fork
of it that calls the command's own `main` and is killed like any other. What importing takes, a second or two of a
core, is so paid once and not by each test. That the command starts from nothing too is shown by `tests/network`,
`tests/sync` and the tests of the wheel and the demo.
"""

import atexit
import json
import os
import signal
import subprocess
import sys
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


class ForkedServer:
    """A running server, with what of `subprocess.Popen` the tests ask."""

    def __init__(
        self, words: list[str], log: Path, under: tuple[str, ...] = (), clock: Path | None = None,
    ) -> None:
        """Starts `secondprobe` with these words; what it says goes to the end of `log`.

        `under`: the words before the command of the process that forks it, of which there is one for each such words.
        `clock`: the file of the `MovedClock` it lives by.
        """
        self._under = under
        self.pid: int = _ask(under, {
            "do": "start", "words": words, "log": str(log), "clock": None if clock is None else str(clock),
        })
        self._status: int | None = None

    def poll(self) -> int | None:
        """The exit status, below 0 the signal that ended it; None while it runs."""
        if self._status is None:
            self._status = _ask(self._under, {"do": "poll", "pid": self.pid})
        return self._status

    def wait(self) -> int:
        """Waits for its end; the exit status."""
        if self._status is None:
            self._status = _ask(self._under, {"do": "wait", "pid": self.pid})
        return self._status

    def kill(self) -> None:
        """SIGKILL, and waits for its end. A pid stays its own until it was waited for."""
        if self._status is None:
            os.kill(self.pid, signal.SIGKILL)
            self.wait()


@cache
def _forking(under: tuple[str, ...]) -> "subprocess.Popen[str]":
    process = subprocess.Popen(
        [*under, sys.executable, "-m", "tests.support.fork_servers"],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1,
    )
    atexit.register(_end, process)
    return process


def _ask(under: tuple[str, ...], question: dict[str, object]) -> int:
    process = _forking(under)
    assert process.stdin is not None and process.stdout is not None
    process.stdin.write(json.dumps(question) + "\n")
    answer = process.stdout.readline()
    assert answer, f"the process that forks servers has ended with status {process.wait()}"
    return json.loads(answer)


def end_all(under: tuple[str, ...]) -> None:
    """Ends the process that forks servers under these words, and what it started; nobody may ask it afterwards."""
    _end(_forking(under))


def _end(process: "subprocess.Popen[str]") -> None:
    """It ends, and what it started with it, when nobody can ask it any more."""
    if process.returncode is None:
        process.communicate()
