"""The process behind `forked_server`: imports what `secondprobe serve` needs, then forks one server a question.

Questions come as lines of JSON on the standard input, each is answered by one line. When the input ends, because the
tests have ended in whatever way, the servers that still run are killed.
"""

import json
import os
import signal
import sys
import traceback
from pathlib import Path

import uvicorn.lifespan.on
import uvicorn.protocols.http.auto
import uvicorn.protocols.websockets.auto

import server.network.serving
from server.app import describe_routes
from server.cli import main
from tests.support.moved_clock import follow

IMPORTED_BEFORE = (
    server.network.serving, uvicorn.lifespan.on, uvicorn.protocols.http.auto, uvicorn.protocols.websockets.auto,
)
"""What a server would import only once it serves."""


def answer_all() -> None:
    """Until nobody asks any more."""
    running: set[int] = set()
    describe_routes()
    for line in sys.stdin:
        question = json.loads(line)
        if question["do"] == "start":
            answer: int | None = _start(question["words"], question["log"], question["clock"])
            running.add(answer)
        else:
            answer = _status(question["pid"], os.WNOHANG if question["do"] == "poll" else 0)
            if answer is not None:
                running.discard(question["pid"])
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()
    for pid in running:
        os.kill(pid, signal.SIGKILL)


def _start(words: list[str], log: str, clock: str | None) -> int:
    pid = os.fork()
    if pid != 0:
        return pid
    status = 1
    try:
        said = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        nothing = os.open(os.devnull, os.O_RDONLY)
        for stream, file in ((0, nothing), (1, said), (2, said)):
            os.dup2(file, stream)
        if clock is not None:
            follow(Path(clock))
        status = main(words)
    except BaseException:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)  # not through what the process it is a fork of would do at its end


def _status(pid: int, how: int) -> int | None:
    ended, status = os.waitpid(pid, how)
    return os.waitstatus_to_exitcode(status) if ended else None


if __name__ == "__main__":
    answer_all()
