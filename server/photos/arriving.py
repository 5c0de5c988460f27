"""Pictures on their way in: what has come so far lies in a folder of its own, under the picture's hash.

Decides: that what a cut line, a phone gone away or a killed server left is kept for a week, so that the phone
sends the rest only; that two who send one picture at once are kept apart; and that a sender who has been
silent gives way to the next, who is most likely the same phone on a new connection. Nothing here is handed
out or trusted: the finished file is hashed as a whole before it gets its name (`files`).
"""

import contextlib
import fcntl
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from server.problems import Refusal
from shared_models.change import Problem

FOLDER = "photos_arriving"
KEPT_S = 7 * 86_400
SILENT_S = 5.0
"""A sender who brought nothing for so long is given up when another comes with the same picture."""


class LineCut(Refusal):
    """The sender went away in the middle: nobody reads this answer, and what came is kept."""

    def __init__(self) -> None:
        super().__init__(400, Problem(
            code="line_cut", message="The picture broke off in the middle.", where="the whole body",
            given="a part of it", expected="all of it", example="HEAD this address, then PUT the rest",
        ))


class Part:
    """What has come of one picture. `path` is its file, open for this process alone; `is_finished`: no more is
    to come, and nothing is to stay here."""

    def __init__(self, path: Path, file: BinaryIO, offset: int, sha256: str | None, largest: int) -> None:
        self.path, self.file, self.size = path, file, offset
        self.was_continued = offset > 0
        self.is_finished = False
        self._sha256, self._largest, self._heard_at_s = sha256, largest, time.monotonic()

    def add(self, chunk: bytes) -> None:
        """Takes the next bytes.

        Raises:
            Refusal: 413 beyond the largest picture; 409 when another sender took over meanwhile.
        """
        if self.file.closed:
            raise _cannot_continue("another sender went on with this picture")
        self._heard_at_s = time.monotonic()
        self.size += len(chunk)
        if self.size > self._largest:
            raise Refusal(413, Problem(
                code="too_large", message=f"The picture is longer than {self._largest} bytes.", where="the whole body",
                given=f"more than {self._largest} bytes", expected=f"at most {self._largest} bytes",
                example="send a smaller file",
            ))
        self.file.write(chunk)

    def is_silent(self) -> bool:
        """Whether its sender may be taken for gone."""
        return not self.is_finished and time.monotonic() - self._heard_at_s > SILENT_S

    def close(self) -> None:
        """Lets go of the file; what is in it stays, if it can be found again by its name."""
        if self._sha256 is None:
            self.path.unlink(missing_ok=True)
        self.file.close()


class ArrivingFolder:
    """The parts of one record's pictures, in the folder `photos_arriving` beside it."""

    def __init__(self, data_dir: Path, largest: int) -> None:
        self.folder, self._largest = data_dir / FOLDER, largest
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.folder.chmod(0o700)
        self._open: dict[str, Part] = {}
        self._in_work: set[Part] = set()
        self._forget_old()

    def size_of(self, sha256: str) -> int:
        """How many bytes a sender may leave out; 0 while another one is just sending them."""
        part = self._open.get(sha256)
        if part is not None and not part.is_silent():
            return 0
        try:
            return (self.folder / sha256).stat().st_size
        except FileNotFoundError:
            return 0

    @contextmanager
    def opened(self, sha256: str, offset: int) -> Iterator[Part]:
        """The part to add to, its first `offset` bytes kept. Afterwards something stays only when the line
        was cut, or the server ended.

        Raises:
            Refusal: 409 when fewer bytes are here than `offset`.
        """
        self._forget_old()
        part = self._take_up(sha256, offset)
        self._in_work.add(part)
        try:
            yield part
        except LineCut:
            part.is_finished = part.size == 0
            raise
        except Exception:
            part.is_finished = True
            raise
        finally:
            if self._open.get(sha256) is part:
                del self._open[sha256]
                if part.is_finished:
                    part.path.unlink(missing_ok=True)
            self._in_work.discard(part)
            part.close()

    def _take_up(self, sha256: str, offset: int) -> Part:
        before = self._open.get(sha256)
        if before is not None and before.is_silent():
            before.close()
            before = None
        file = None if before is not None else _locked(self.folder / sha256)
        if file is None:
            if offset:
                raise _cannot_continue("another sender is just sending this picture")
            handle, name = tempfile.mkstemp(dir=self.folder)  # made with 0600
            return Part(Path(name), os.fdopen(handle, "w+b"), 0, None, self._largest)
        here = file.seek(0, os.SEEK_END)
        if offset > here:
            file.close()
            raise _cannot_continue(f"{here} bytes of it are here")
        file.truncate(offset)
        file.seek(offset)
        part = Part(self.folder / sha256, file, offset, sha256, self._largest)
        self._open[sha256] = part
        return part

    def _forget_old(self) -> None:
        """Parts nobody went on with. Called where one more comes, so that they never gather.

        By a clock that was just put ahead each part is old, those too that are being written.
        """
        before_s = time.time() - KEPT_S
        for path in set(self.folder.iterdir()) - {part.path for part in self._in_work}:
            with contextlib.suppress(FileNotFoundError):
                if path.stat().st_mtime < before_s:
                    path.unlink()


def _locked(path: Path) -> BinaryIO | None:
    """The file, for this process alone; None when another process has it."""
    while True:
        file = os.fdopen(os.open(path, os.O_CREAT | os.O_RDWR, 0o600), "r+b")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.close()
            return None
        if path.exists() and os.path.samestat(path.stat(), os.fstat(file.fileno())):
            return file
        file.close()  # while it was opened another process finished it and gave it its name


def _cannot_continue(given: str) -> Refusal:
    return Refusal(409, Problem(
        code="cannot_continue", message="The picture cannot be continued from there.", where="the header Upload-Offset",
        given=given, expected="as many bytes as HEAD says in Upload-Offset, or the whole picture without that header",
        example="HEAD this address, then PUT the rest",
    ))
