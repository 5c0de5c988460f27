"""The folder of pictures: each under the SHA-256 of its content, there whole or not at all.

Decides: that a picture arrives in a folder of its own (`arriving`), and is hashed as a whole, looked at,
brought to the disk and only then given its name here. Only this user may read any of it.
"""

import errno
import hashlib
import os
import re
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

from anyio import CapacityLimiter, to_thread

from server.photos.arriving import ArrivingFolder, Part
from server.photos.check import Picture, check_picture
from server.problems import Refusal
from server.store.on_disk import make_private_folder, settle_names
from shared_models.change import Problem

FOLDER = "photos"
LARGEST_BYTES = 12_000_000
"""What the app makes is under 4 MB; a longer body is refused while it arrives."""

SHA256 = re.compile(r"[0-9a-f]{64}")
_UNPACKED_AT_ONCE = 2
"""By threads that do nothing else: the C library keeps for a thread what an unpacked picture took, tens of megabytes,
and where any of forty threads unpacked, it was hundreds."""


class PhotoFolder:
    """The pictures of one record, in the folder `photos` beside it."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / FOLDER
        make_private_folder(self.folder)
        settle_names(self.folder)  # a server that was killed may have left a name it had not settled
        self._arriving = ArrivingFolder(data_dir, LARGEST_BYTES)
        self._settling: set[str] = set()
        self._unpacking = ThreadPoolExecutor(_UNPACKED_AT_ONCE, thread_name_prefix="unpacking")
        self._waiting = CapacityLimiter(_UNPACKED_AT_ONCE)

    def find(self, sha256: str) -> Path | None:
        """Where the picture lies; None: it is not here, or the power could still take it."""
        path = self.folder / sha256
        is_here = SHA256.fullmatch(sha256) and sha256 not in self._settling and path.is_file()
        return path if is_here else None

    def remove(self, sha256: str) -> None:
        """Takes the picture off the disk; one that is not here is no error."""
        if path := self.find(sha256):
            path.unlink(missing_ok=True)

    def has_of(self, sha256: str) -> int:
        """How many bytes of a picture that is not whole here need not be sent again."""
        return self._arriving.size_of(sha256)

    async def take(
        self, sha256: str, chunks: AsyncIterator[bytes], offset: int = 0
    ) -> tuple[Picture, int, bool]:
        """Keeps a picture that arrives in pieces: what it is, its bytes, and whether it was here before.

        `offset`: so many of its first bytes came earlier. It is on the disk when this returns; when the line
        is cut, what came stays to be continued; when it is refused, nothing of it is left.

        Raises:
            Refusal: 422 `hash_differs`, 409 `cannot_continue` (send it whole), 507 `disk_full`, or as `check_picture`.
        """
        try:
            with self._arriving.opened(sha256, offset) as part:
                async for chunk in chunks:
                    part.add(chunk)
                return await self._finish(sha256, part)
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            raise Refusal(507, Problem(
                code="disk_full", message="The server's disk is full; the picture stays on the phone.",
                where="the server's folder of pictures", given=str(error.strerror), expected="free space on its disk",
                example="free some space, then send it again",
            )) from error

    async def _finish(self, sha256: str, part: Part) -> tuple[Picture, int, bool]:
        part.is_finished = True
        part.file.flush()
        found = await to_thread.run_sync(_hash_of, part.path)
        if found != sha256:
            raise _spoilt_part(found) if part.was_continued else _hash_differs(sha256, found)
        picture = await to_thread.run_sync(self._look_at, part.path, limiter=self._waiting)
        there = self.find(sha256) is not None
        if not there:
            self._settling.add(sha256)
            try:
                await to_thread.run_sync(_settle, part.file, part.path, self.folder / sha256)
            finally:
                self._settling.discard(sha256)
        return picture, part.size, there

    def _look_at(self, path: Path) -> Picture:
        return self._unpacking.submit(check_picture, path).result()


def _hash_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _settle(file: BinaryIO, path: Path, place: Path) -> None:
    """To the disk, then the name, then the name to the disk."""
    os.fsync(file.fileno())
    path.rename(place)
    settle_names(place.parent)


def _hash_differs(named: str, found: str) -> Refusal:
    return Refusal(422, Problem(
        code="hash_differs", message="The bytes that arrived are not those the address names.",
        where="the whole body", given=found, expected=f"bytes whose SHA-256 is {named}",
        example=f"PUT /api/photos/{found}",
    ))


def _spoilt_part(found: str) -> Refusal:
    """What came earlier was no beginning of this picture, or the power went before it was on the disk."""
    return Refusal(409, Problem(
        code="cannot_continue", message="With what came earlier the bytes are not those the address names.",
        where="the header Upload-Offset", given=found, expected="the whole picture, without that header",
        example="PUT all of it; nothing of it is kept here now",
    ))
