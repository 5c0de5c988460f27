"""A shop's record back out of a backup, while the server runs or not.

Decides: that the whole file is read and checked before anything is touched; that the record that was there
stays beside it as a copy; that pictures are only ever added; that phones send again what the backup lacks
(another epoch), and that a phone taken out since stays out.
"""

import asyncio
import hashlib
import tempfile
import zipfile
from pathlib import Path

from server.keeping.backup import AUTHORITY, PHOTOS, RECORD, read_manifest
from server.network.authority import write_whole
from server.network.trouble import Trouble, disk_trouble
from server.store.copies import copy_record, faults_of, make_another, put_in_place
from server.store.database import Database, clock_ms
from server.store.in_use import is_in_use
from server.store.on_disk import make_private_folder, settle_names
from server.sync.accept import Vocabulary
from server.sync.catch_up import apply_waiting
from shared_models.base import Model

KEPT_COPY = "record-before-restore-"
"""How the copy of the record that was there begins; the time (ms) follows."""


class Restored(Model, frozen=True, kw_only=True):
    """What was restored. `kept_copy`: where the record lies that was there before; "" when there was none.

    `authority`: "restored", "kept" (this shop has one already, and phones trust that), or "none" in the backup.
    """

    changes_of_ms: int
    photos_added: int
    kept_copy: str
    authority: str


def restore(data_dir: Path, backup: Path) -> Restored:
    """Puts the backup in place.

    Raises:
        Trouble: the backup cannot be used, the disk is full, or a server runs on a damaged record;
            RecordUnusable: a newer server made its record. Nothing is changed then.
    """
    manifest = read_manifest(backup)
    try:
        make_private_folder(data_dir)
        with (
            tempfile.TemporaryDirectory(dir=data_dir, prefix=".restoring-") as folder,
            zipfile.ZipFile(backup) as archive,
        ):
            copy = Path(folder) / RECORD
            copy.write_bytes(archive.read(RECORD))
            if hashlib.sha256(copy.read_bytes()).hexdigest() != manifest.record_sha256:
                raise Trouble(f"{backup} is damaged: its record is not the one it names.", "Take another copy.")
            asyncio.run(_bring_up_to_date(copy.parent))
            added = sum(_add_photo(archive, data_dir, name) for name in manifest.photos)
            kept = _take_place(copy, data_dir / RECORD)
            authority = _authority(archive, data_dir) if manifest.has_authority else "none"
    except OSError as error:
        raise disk_trouble(error, data_dir) from error
    return Restored(changes_of_ms=manifest.made_at_ms, photos_added=added, kept_copy=kept, authority=authority)


async def _bring_up_to_date(folder: Path) -> None:
    """The tables of an older record become today's before it is put in place."""
    database = await Database.open(folder)
    try:
        await apply_waiting(database, Vocabulary())
    finally:
        await database.close()


def _take_place(copy: Path, record: Path) -> str:
    if not record.exists():
        make_another(copy, None)
        copy.rename(record)
        settle_names(record.parent)
        return ""
    kept = record.with_name(f"{KEPT_COPY}{clock_ms()}.sqlite3")
    if not faults_of(record):
        make_another(copy, record)
        copy_record(record, kept)
        put_in_place(copy, record)
        return str(kept)
    if is_in_use(record.parent):
        raise Trouble(f"{record} is damaged, and a server runs on it.", "Stop the server, then restore again.")
    make_another(copy, None)
    for end in ("", "-wal", "-shm"):
        beside = record.with_name(record.name + end)
        if beside.exists():
            beside.rename(kept.with_name(kept.name + end))
    copy.rename(record)
    settle_names(record.parent)
    return str(kept)


def _add_photo(archive: zipfile.ZipFile, data_dir: Path, name: str) -> bool:
    place = data_dir / PHOTOS / name
    if place.exists():
        return False
    raw = archive.read(f"{PHOTOS}/{name}")
    if hashlib.sha256(raw).hexdigest() != name:
        raise Trouble(f"The picture {name} in the backup is not what its name says.", "Take another copy.")
    make_private_folder(place.parent)
    write_whole(place, raw)
    return True


def _authority(archive: zipfile.ZipFile, data_dir: Path) -> str:
    place = data_dir / AUTHORITY
    if place.exists():
        return "kept"
    make_private_folder(place.parent)
    write_whole(place, archive.read(AUTHORITY))
    return "restored"
