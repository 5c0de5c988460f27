"""Everything of a shop in one file: the record, the pictures by their hash, the authority.

Decides: that the file gets its name only once it is whole, read again and found good; that a picture whose
bytes are no longer what its name says is left out and named. Whoever has the file has the record and can
vouch for the shop's address: it is for this user only, and belongs where keys belong.
"""

import hashlib
import os
import tempfile
import zipfile
import zlib
from pathlib import Path
from typing import Annotated, BinaryIO, Literal

import msgspec
from msgspec import Meta

from server.network.trouble import Trouble, disk_trouble
from server.photos.files import FOLDER as PHOTOS
from server.photos.files import SHA256
from server.store.copies import copy_record
from server.store.database import FILE_NAME as RECORD
from server.store.database import clock_ms
from server.store.on_disk import settle_names
from shared_models.base import Model

MANIFEST, AUTHORITY = "backup.json", "tls/authority.pem"
VERSION = 1


class Backup(Model, frozen=True, kw_only=True):
    """What a backup says of itself; `photos` are the hashes of the pictures in it."""

    holds: Literal["second_probe_backup"]
    v: Annotated[int, Meta(ge=1)]
    made_at_ms: int
    record_sha256: str
    photos: tuple[str, ...]
    has_authority: bool


class Made(Model, frozen=True, kw_only=True):
    """A backup that was made: its file, what it holds, and the pictures that are damaged on the disk."""

    path: str
    size_bytes: int
    photos: int
    has_authority: bool
    damaged_photos: tuple[str, ...] = ()


def make_backup(data_dir: Path, to: Path) -> Made:
    """Writes the backup; `to` may be a folder. The server may run.

    Raises:
        Trouble: there is no record, the file is there already, or the disk is full; RecordUnusable: the record
            is damaged. Nothing is left of it then.
    """
    record = data_dir / RECORD
    if not record.exists():
        raise Trouble(f"There is no record in {data_dir}.", "Say where it is: --data DIR")
    if to.is_dir():
        to = to / f"secondprobe-{clock_ms() // 1000}.zip"
    if to.exists():
        raise Trouble(f"{to} is there already.", "Nothing is written over: give another name, or a folder.")
    part = to.with_name(to.name + ".part")
    try:
        with tempfile.TemporaryDirectory(dir=data_dir, prefix=".copying-") as folder:
            copy = Path(folder) / RECORD
            copy_record(record, copy)
            with os.fdopen(os.open(part, os.O_CREAT | os.O_TRUNC | os.O_RDWR, 0o600), "w+b") as file:
                damaged = _write(file, copy, data_dir)
                file.flush()
                os.fsync(file.fileno())
        manifest = read_manifest(part)
        part.rename(to)
        settle_names(to.parent)
    except OSError as error:
        raise disk_trouble(error, to) from error
    finally:
        part.unlink(missing_ok=True)
    return Made(
        path=str(to), size_bytes=to.stat().st_size, photos=len(manifest.photos), has_authority=manifest.has_authority,
        damaged_photos=damaged,
    )


def read_manifest(path: Path) -> Backup:
    """What a backup says of itself, once every byte of it was read and found whole.

    Raises:
        Trouble: it is none, is damaged, or a newer version made it.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            head = msgspec.json.decode(archive.read(MANIFEST), type=dict)
            if head.get("holds") == "second_probe_backup" and isinstance(head.get("v"), int) and head["v"] > VERSION:
                raise Trouble(f"{path} was made by a newer version.", "Update this one first, then restore.")
            manifest = msgspec.json.decode(archive.read(MANIFEST), type=Backup)
            names = set(archive.namelist())
            bad = archive.testzip()
    except zlib.error as error:  # what is compressed makes no sense; a wrong sum alone is told by `testzip`
        raise Trouble(f"{path} is damaged: {error}.", "Take another copy; nothing was changed.") from error
    except (OSError, KeyError, zipfile.BadZipFile, msgspec.MsgspecError, EOFError, NotImplementedError) as error:
        raise Trouble(
            f"{path} is no backup that can be read: {error}.", "Take another copy; secondprobe backup makes them.",
        ) from error
    wanted = {RECORD, *(f"{PHOTOS}/{name}" for name in manifest.photos)}
    wanted |= {AUTHORITY} if manifest.has_authority else set()
    if bad is not None or not wanted <= names or not all(map(SHA256.fullmatch, manifest.photos)):
        what = bad or next(iter(sorted(wanted - names)), "a picture's name")
        raise Trouble(f"{path} is damaged: {what}.", "Take another copy; nothing was changed.")
    return manifest


def _write(file: BinaryIO, copy: Path, data_dir: Path) -> tuple[str, ...]:
    authority = data_dir / AUTHORITY
    photos, damaged = [], []
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        archive.write(copy, RECORD, zipfile.ZIP_DEFLATED)
        for path in sorted((data_dir / PHOTOS).glob("*")) if (data_dir / PHOTOS).is_dir() else []:
            if not SHA256.fullmatch(path.name):
                continue  # one that is just arriving
            if hashlib.sha256(raw := path.read_bytes()).hexdigest() != path.name:
                damaged.append(path.name)
                continue
            archive.writestr(f"{PHOTOS}/{path.name}", raw)
            photos.append(path.name)
        if authority.exists():
            archive.write(authority, AUTHORITY)
        manifest = Backup(
            holds="second_probe_backup", v=VERSION, made_at_ms=clock_ms(),
            record_sha256=hashlib.sha256(copy.read_bytes()).hexdigest(),
            photos=tuple(photos), has_authority=authority.exists(),
        )
        archive.writestr(MANIFEST, msgspec.json.encode(manifest))
    return tuple(damaged)
