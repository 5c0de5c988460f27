"""The rows of the record written straight with sqlite3: what the benchmark `sync` lays the server's beside."""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from server.store.migrations import read_steps, statements

ChangeRow = tuple[str, str, int, str, str, bytes]
"""id, device, device_seq, hlc, actor, body"""
FactRow = tuple[str, str, str]
"""id, record, stamp"""


def empty_record(path: Path) -> sqlite3.Connection:
    """The record's tables in a new file, as durable as the server's; any thread may use the connection."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    for step in read_steps():
        for statement in statements(step.sql):
            connection.execute(statement)
    return connection


def write_readings(connection: sqlite3.Connection, batch: Sequence[tuple[ChangeRow, FactRow]], seq: int) -> None:
    """New readings in one transaction, each in the log and as a fact; `seq`: the last number given."""
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany(
        "INSERT INTO change (id, device, device_seq, hlc, actor, v, body, applied)"
        " VALUES (?, ?, ?, ?, ?, 1, ?, 1)", [change_row for change_row, _ in batch])
    connection.executemany(
        "INSERT INTO fact (kind, id, record, stamp, seq) VALUES ('reading', ?, ?, ?, ?)",
        [(*fact_row, seq + n) for n, (_, fact_row) in enumerate(batch, 1)])
    connection.execute("COMMIT")
