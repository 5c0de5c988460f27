"""A record that takes batches in a process of its own, without a server around it, its calls recorded.

`python -m tests.support.takes_batches FOLDER` opens the record there; each line on its input is a JSON list of
changes, and it answers a line with what became of each, once that is so.
"""

import asyncio
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.support.recorded_disk import recording
from tests.sync.rig import open_record, push

ROOT = Path(__file__).resolve().parents[2]


class Taker:
    """The process, as long as the block lasts. `dies_at`: where strace kills it, in strace's words."""

    def __init__(self, data: Path, log: Path, dies_at: str = "") -> None:
        self._command = [*recording(log, dies_at), sys.executable, "-m", "tests.support.takes_batches", str(data)]

    def __enter__(self) -> "Taker":
        self._process = subprocess.Popen(
            self._command, cwd=ROOT, text=True, start_new_session=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate()

    def take(self, changes: list[dict[str, Any]]) -> list[list[Any]]:
        """What becomes of each change: its id, the result, its number. Raises EOFError when the process dies of it."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(changes) + "\n")
        self._process.stdin.flush()
        if not (answer := self._process.stdout.readline()):
            raise EOFError
        return json.loads(answer)

    def kill(self) -> None:
        """kill -9: it writes nothing any more."""
        os.killpg(self._process.pid, signal.SIGKILL)


async def take_all(folder: Path) -> None:
    """Until nothing comes any more."""
    async with open_record(folder) as record:
        for line in sys.stdin:
            answers = (await push(record, json.loads(line))).answers
            sys.stdout.write(json.dumps([[one.id, one.result, one.seq] for one in answers]) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    asyncio.run(take_all(Path(sys.argv[1])))
