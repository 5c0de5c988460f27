"""Whole copies of a record, by SQLite's own backup: consistent whatever is written meanwhile."""

import os
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from server.store.database import RecordDamaged, why_not
from server.store.migrations import RecordUnusable

WAIT_S = 30.0


@contextmanager
def _opened(path: Path, mode: str) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=WAIT_S)) as connection:
        yield connection


def faults_of(path: Path) -> list[str]:
    """What SQLite's own check finds wrong with a record; none when it is sound."""
    try:
        with _opened(path, "ro") as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check(5)")]
    except sqlite3.Error as error:
        return [str(error)]
    return [] if found == ["ok"] else found


def copy_record(record: Path, to: Path) -> None:
    """Copies a record, in use or not, into a new file of its own, and checks the copy.

    Raises:
        RecordUnusable: it cannot be read, or the copy is not sound.
    """
    os.close(os.open(to, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    try:
        with _opened(record, "ro") as source, _opened(to, "rw") as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
    except sqlite3.Error as error:
        to.unlink()
        raise RecordUnusable(f"{record} cannot be copied: {why_not(error, to)}") from error
    if faults := faults_of(to):
        to.unlink()
        raise RecordDamaged(f"{record} is damaged ({'; '.join(faults)}); keep the file and restore a copy")


def put_in_place(copy: Path, record: Path) -> None:
    """Makes a sound record what the copy is, in one transaction that a running server sees as any other.

    Raises:
        RecordUnusable: it could not be written; the record is as it was.
    """
    try:
        with _opened(copy, "ro") as source, _opened(record, "rw") as target:
            source.backup(target)
    except sqlite3.Error as error:
        raise RecordUnusable(f"{record} cannot be written: {why_not(error, record)}") from error


def make_another(copy: Path, present: Path | None) -> None:
    """Gives a copy an epoch of its own, so that phones send again what it lacks; what was taken out stays out.

    `present` is the record whose place it takes, where there is a sound one: phones revoked there are revoked
    in the copy. Codes that wait to be used are forgotten.
    """
    revoked: list[tuple[int, str]] = []
    if present is not None:
        with _opened(present, "ro") as connection, _without_missing_tables():
            revoked = connection.execute(
                "SELECT revoked_at_ms, id FROM phone WHERE revoked_at_ms IS NOT NULL"
            ).fetchall()
    with _opened(copy, "rw") as connection:
        connection.execute("UPDATE server SET epoch = ?", (str(uuid.uuid4()),))
        connection.execute("DELETE FROM code")
        connection.executemany("UPDATE phone SET revoked_at_ms = coalesce(revoked_at_ms, ?) WHERE id = ?", revoked)
        connection.commit()


@contextmanager
def _without_missing_tables() -> Iterator[None]:
    """A record older than the tables of phones has taken none out."""
    try:
        yield
    except sqlite3.OperationalError as error:
        if "no such table" not in str(error):
            raise
