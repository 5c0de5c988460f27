"""Brings a record's tables up to date by numbered .sql steps, each in one transaction.

Decides: the order (by number), that each step runs once, and that a record made by a newer server
is refused instead of being half understood. What the tables are is said in `steps/`.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import aiosqlite

STEPS_DIR = Path(__file__).parent / "steps"


class RecordUnusable(Exception):
    """The record cannot be opened by this server; the message says why and what to do."""


class RecordFromNewerServer(RecordUnusable):
    """The record has steps that this server does not know."""


class Step(NamedTuple):
    """One step: its number, the file's name without the number, and its statements."""

    number: int
    name: str
    sql: str


def read_steps(folder: Path = STEPS_DIR) -> list[Step]:
    """All steps of `folder` by number; file names are `NNN_name.sql`.

    Raises:
        ValueError: the numbers do not run 1, 2, 3 ... without a gap or a double.
    """
    steps = sorted(
        Step(int(path.stem.split("_", 1)[0]), path.stem.split("_", 1)[1], path.read_text(encoding="utf-8"))
        for path in folder.glob("*.sql")
    )
    if [step.number for step in steps] != list(range(1, len(steps) + 1)):
        raise ValueError(f"steps in {folder} must be numbered 1, 2, 3 ...: {[step.number for step in steps]}")
    return steps


def statements(sql: str) -> Iterator[str]:
    """The single statements of a script: `executescript` would commit the transaction around it."""
    pending = ""
    for line in sql.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
    if any(line.strip() and not line.lstrip().startswith("--") for line in pending.splitlines()):
        raise ValueError(f"a statement without its semicolon: {pending.strip()[:80]!r}")


async def migrate(connection: aiosqlite.Connection, steps: list[Step], now_ms: int) -> None:
    """Runs the steps that this record has not had yet.

    Raises:
        RecordFromNewerServer: the record has had more steps than there are.
    """
    await connection.execute(
        "CREATE TABLE IF NOT EXISTS step"
        " (number INTEGER PRIMARY KEY, name TEXT NOT NULL, done_at_ms INTEGER NOT NULL) STRICT"
    )
    for step in steps:
        await connection.execute("BEGIN IMMEDIATE")
        try:
            # Asked inside the transaction: two servers may open one new record at once.
            done = await connection.execute_fetchall("SELECT 1 FROM step WHERE number = ?", (step.number,))
            if not done:
                for statement in statements(step.sql):
                    await connection.execute(statement)
                await connection.execute("INSERT INTO step VALUES (?, ?, ?)", (step.number, step.name, now_ms))
            await connection.commit()
        except BaseException:
            await connection.rollback()
            raise
    [(newest,)] = await connection.execute_fetchall("SELECT coalesce(max(number), 0) FROM step")
    if newest > len(steps):
        raise RecordFromNewerServer(
            f"this record has had step {newest}, this server knows {len(steps)}: start the newer server on it"
        )
