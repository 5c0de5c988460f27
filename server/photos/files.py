"""The folder of pictures: each under the SHA-256 of its content, there whole or not at all.

Decides: that a picture arrives in a file of its own beside the others, is hashed on the way, looked
at, brought to the disk and only then given its name. What a killed server left half is thrown away
when the next one opens the folder. Only this user may read any of it.
"""

import errno
import fcntl
import hashlib
import os
import re
import tempfile
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from anyio import CapacityLimiter, to_thread

from server.photos.check import Picture, check_picture
from server.problems import Refusal
from shared_models.change import Problem

FOLDER = "photos"
LARGEST_BYTES = 12_000_000
"""What the app makes is under 4 MB; a longer body is refused while it arrives."""

SHA256 = re.compile(r"[0-9a-f]{64}")
_ARRIVING = ".arriving-"
_UNPACKED_AT_ONCE = 2


class PhotoFolder:
    """The pictures of one record, in the folder `photos` beside it."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / FOLDER
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.folder.chmod(0o700)
        for left in self.folder.glob(f"{_ARRIVING}*"):
            _remove_unless_arriving(left)
        self._unpacking = CapacityLimiter(_UNPACKED_AT_ONCE)

    def find(self, sha256: str) -> Path | None:
        """Where the picture lies; None: it is not here."""
        path = self.folder / sha256
        return path if SHA256.fullmatch(sha256) and path.is_file() else None

    async def take(self, sha256: str, chunks: AsyncIterator[bytes]) -> tuple[Picture, int, bool]:
        """Keeps a picture that arrives in pieces: what it is, its bytes, and whether it was here before.

        It is on the disk when this returns; when it raises, nothing of it is left.

        Raises:
            Refusal: 422 `hash_differs`, 507 `disk_full`, or as `check_picture`.
        """
        try:
            with _arriving(self.folder) as (path, file):
                hasher, size = hashlib.sha256(), 0
                async for chunk in chunks:
                    hasher.update(chunk)
                    size += file.write(chunk)
                file.flush()
                if hasher.hexdigest() != sha256:
                    raise _hash_differs(sha256, hasher.hexdigest())
                picture = await to_thread.run_sync(check_picture, path, limiter=self._unpacking)
                there = self.find(sha256) is not None
                if not there:
                    await to_thread.run_sync(_settle, file, path, self.folder / sha256)
                return picture, size, there
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            raise Refusal(507, Problem(
                code="disk_full", message="The server's disk is full; the picture stays on the phone.",
                where="the server's folder of pictures", given=str(error.strerror), expected="free space on its disk",
                example="free some space, then send it again",
            )) from error


@contextmanager
def _arriving(folder: Path) -> Iterator[tuple[Path, BinaryIO]]:
    """A locked file that only this process may give a name; gone afterwards unless it got one."""
    handle, name = tempfile.mkstemp(prefix=_ARRIVING, dir=folder)  # made with 0600
    path = Path(name)
    with os.fdopen(handle, "wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        try:
            yield path, file
        finally:
            path.unlink(missing_ok=True)


def _settle(file: BinaryIO, path: Path, place: Path) -> None:
    """To the disk, then the name, then the name to the disk."""
    os.fsync(file.fileno())
    path.rename(place)
    folder = os.open(place.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _remove_unless_arriving(path: Path) -> None:
    """A file that another server is just receiving is locked by it."""
    try:
        with path.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            path.unlink()
    except (BlockingIOError, FileNotFoundError):
        return


def _hash_differs(named: str, found: str) -> Refusal:
    return Refusal(422, Problem(
        code="hash_differs", message="The bytes that arrived are not those the address names.",
        where="the whole body", given=found, expected=f"bytes whose SHA-256 is {named}",
        example=f"PUT /api/photos/{found}",
    ))
