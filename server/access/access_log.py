"""What was asked, without names: time, method, which kind of thing, the answer's status, how long it took.

Decides: that no address, no id and no name is written. A path is written only as the beginning that all of
its kind share; whatever is no path of this server may hold anything, and is only counted.
"""

import logging
import logging.handlers
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

FILE_NAME = "access.log"
FILE_BYTES, FILES_KEPT = 1_000_000, 3
SHOWN_PARTS = 3
"""Of `/api/jobs/ID/sheet` the parts up to `jobs` are written."""


class AccessLog:
    """A log in the data folder, a few megabytes at most; `kinds` are the beginnings of paths that are written."""

    def __init__(self, data_dir: Path, kinds: frozenset[str]) -> None:
        self._kinds = kinds
        self._log = logging.Logger("access", logging.INFO)  # of its own: nothing of it reaches other logs
        path = data_dir / FILE_NAME
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
        handler = logging.handlers.RotatingFileHandler(path, maxBytes=FILE_BYTES, backupCount=FILES_KEPT, delay=True)
        handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
        handler.handleError = lambda record: None  # a full disk costs lines of the log, never an answer
        self._log.addHandler(handler)

    def begin(self, scope: Any) -> Callable[[int], None]:
        """Call what it gives with the status, once the answer begins."""
        started = time.monotonic()

        def end(status: int) -> None:
            took_ms = (time.monotonic() - started) * 1000
            kind = "a file of the app" if status < 400 else "something else"
            beginning = "/".join(scope["path"].split("/")[:SHOWN_PARTS])
            if beginning in self._kinds:
                kind = beginning
            method = scope["method"] if scope["method"] in METHODS else "?"
            self._log.info("%s %s %d %.0f ms", method, kind, status, took_ms)

        return end

    def close(self) -> None:
        """Closes the file."""
        for handler in list(self._log.handlers):
            self._log.removeHandler(handler)
            handler.close()


METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


def kinds_of(paths: list[str]) -> frozenset[str]:
    """The beginnings that the paths of routes share."""
    return frozenset("/".join(path.split("/")[:SHOWN_PARTS]) for path in paths)
