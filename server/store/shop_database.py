"""A shop's own PostgreSQL: its tables, and putting rows into them. Statements only; `server.shop.push` says when.

Decides: that everything of one page of changes, the number it ends with included, is one transaction; that runs
for one branch wait for one another (the branch's row is locked); that a row the database will not take is put
aside by name and holds up no other; and that tables made by a newer version are left alone.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import psycopg
from psycopg.types.json import Jsonb

from server.store.migrations import Step, read_steps
from server.store.shop_views import JSON_COLUMNS, Row, Source

STEPS_DIR = Path(__file__).parent / "shop_steps"
CONNECT_WITHIN_S = 10
KEYS = {"opinion": ("branch", "job_id", "stage"), "verdict": ("branch", "job_id", "stage", "contact")}
"""What names a row, where it is not its branch and id."""
JSON = JSON_COLUMNS | {"whole"}
_STEPS_LOCK = 7_331_845_112_904_611
"""Any number, always the same: who holds it may change the tables."""


class ShopDatabaseUnusable(Exception):
    """It cannot be used as it is: `what` is wrong, and what to `do`. Nothing was changed in it."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what, self.do = what, do


class Put(NamedTuple):
    """How many rows were put in their place, and how many were put aside."""

    rows: int = 0
    refused: int = 0


class ShopDatabase:
    """The open connection. Made by `ShopDatabase.open`, which also brings the tables up to date."""

    def __init__(self, connection: psycopg.Connection[tuple[Any, ...]]) -> None:
        self._connection = connection

    @classmethod
    def open(cls, address: str, steps_dir: Path = STEPS_DIR) -> "ShopDatabase":
        """Connects and brings the tables up to date; when that changed any, everything is copied again.

        Raises:
            ShopDatabaseUnusable: a newer version made its tables, or its text is not UTF-8; psycopg.Error:
                whatever else it says.
        """
        connection = psycopg.connect(address, autocommit=True, connect_timeout=CONNECT_WITHIN_S)
        try:
            [(encoding,)] = connection.execute("SELECT current_setting('server_encoding')").fetchall()
            if encoding != "UTF8":
                raise ShopDatabaseUnusable(
                    f"The database keeps text as {encoding}, which has no place for Ω and µ.",
                    "Make one with: CREATE DATABASE shop ENCODING 'UTF8' TEMPLATE template0",
                )
            connection.execute("SET client_min_messages = warning")
            _bring_up_to_date(connection, read_steps(steps_dir))
        except BaseException:
            connection.close()
            raise
        return cls(connection)

    @contextmanager
    def branch(self, name: str, source: Source, *, begun_anew: bool = False) -> Iterator["Branch"]:
        """The branch's rows for this run alone, in one transaction: kept when the block ends, as before when it raises.

        Raises:
            ShopDatabaseUnusable: another record is copied under this name, unless it was `begun_anew`.
        """
        with self._connection.transaction():
            self._connection.execute(
                "INSERT INTO second_probe.branch (name, record_made_at_ms, epoch) VALUES (%s, %s, %s)"
                " ON CONFLICT DO NOTHING", (name, source.made_at_ms, source.epoch),
            )
            [(made_at_ms, epoch, copied_to)] = self._connection.execute(
                "SELECT record_made_at_ms, epoch, copied_to_seq FROM second_probe.branch WHERE name = %s FOR UPDATE",
                (name,),
            ).fetchall()
            if made_at_ms != source.made_at_ms and not begun_anew:
                raise ShopDatabaseUnusable(
                    f"Another record is copied there as branch {name!r}.",
                    "Give this one a name of its own: --branch NAME. If this shop's record was begun anew:"
                    " --begun-anew, once.",
                )
            if epoch != source.epoch:
                self._connection.execute(
                    "UPDATE second_probe.branch SET record_made_at_ms = %s, epoch = %s, copied_to_seq = 0"
                    " WHERE name = %s", (source.made_at_ms, source.epoch, name),
                )
                self._connection.execute("DELETE FROM second_probe.closed_change WHERE branch = %s", (name,))
                copied_to = 0
            yield Branch(self._connection, name, copied_to)

    def close(self) -> None:
        """Lets go of the connection; closing twice is no error."""
        self._connection.close()


class Branch:
    """One shop's rows, held by one transaction."""

    def __init__(self, connection: psycopg.Connection[tuple[Any, ...]], name: str, copied_to_seq: int) -> None:
        self._connection, self.name, self.copied_to_seq = connection, name, copied_to_seq

    def closed(self) -> list[int]:
        """Numbers of the changes that could not be read when they were passed."""
        found = self._connection.execute(
            "SELECT seq FROM second_probe.closed_change WHERE branch = %s ORDER BY seq", (self.name,)
        )
        return [seq for (seq,) in found.fetchall()]

    def note_closed(self, seqs: Sequence[int]) -> None:
        """Exactly these are closed now."""
        self._connection.execute("DELETE FROM second_probe.closed_change WHERE branch = %s", (self.name,))
        with self._connection.cursor() as cursor:
            cursor.executemany(
                "INSERT INTO second_probe.closed_change VALUES (%s, %s)", [(self.name, seq) for seq in seqs]
            )

    def moved_to(self, seq: int) -> None:
        """Everything up to this change is here."""
        self._connection.execute(
            "UPDATE second_probe.branch SET copied_to_seq = %s, pushed_at = now() WHERE name = %s", (seq, self.name)
        )

    def put(self, table: str, rows: Sequence[Row]) -> Put:
        """Puts rows in their place, over what was there. All rows have the same columns."""
        if not rows:
            return Put()
        names = ["branch", *rows[0]]
        keys = KEYS.get(table, ("branch", "id"))
        others = ", ".join(f'"{name}" = excluded."{name}"' for name in names if name not in keys)
        columns = ", ".join(f'"{name}"' for name in names)  # some are words of SQL: "to", "check"
        statement = (
            f"INSERT INTO second_probe.{table} ({columns}) VALUES ({', '.join(['%s'] * len(names))})"
            f" ON CONFLICT ({', '.join(keys)}) DO UPDATE SET {others}"
        ).encode()
        given = [[self.name, *(_given(name, value) for name, value in row.items())] for row in rows]
        try:
            with self._connection.transaction(), self._connection.cursor() as cursor:
                cursor.executemany(statement, given)
        except (psycopg.DataError, psycopg.IntegrityError):
            taken = sum(self._put_one(table, statement, *one) for one in zip(rows, given, strict=True))
            return Put(taken, len(rows) - taken)
        return Put(len(rows))

    def _put_one(self, table: str, statement: bytes, row: Row, given: Sequence[Any]) -> bool:
        key = " ".join(str(row[name]) for name in KEYS.get(table, ("branch", "id")) if name != "branch")
        try:
            with self._connection.transaction():
                self._connection.execute(statement, given)
        except (psycopg.DataError, psycopg.IntegrityError) as error:
            self._connection.execute(
                "INSERT INTO second_probe.refused_row VALUES (%s, %s, %s, %s, %s)"
                " ON CONFLICT (branch, table_name, row_key) DO UPDATE SET why = excluded.why, whole = excluded.whole",
                (self.name, table, key, str(error).splitlines()[0], Jsonb(row)),
            )
            return False
        self._connection.execute(
            "DELETE FROM second_probe.refused_row WHERE (branch, table_name, row_key) = (%s, %s, %s)",
            (self.name, table, key),
        )
        return True

    def note_due(self, jobs: Sequence[str]) -> None:
        """The opinions of these jobs are to be formed anew."""
        with self._connection.cursor() as cursor:
            cursor.executemany(
                "INSERT INTO second_probe.opinion_due VALUES (%s, %s) ON CONFLICT DO NOTHING",
                [(self.name, job) for job in jobs],
            )

    def due(self) -> tuple[str | None, int]:
        """A job whose opinion is to be formed anew, and how many there are."""
        [(job, count)] = self._connection.execute(
            "SELECT min(job_id), count(*) FROM second_probe.opinion_due WHERE branch = %s", (self.name,)
        ).fetchall()
        return job, count

    def put_said(self, job_id: str, opinions: Sequence[Row], verdicts: Sequence[Row]) -> Put:
        """What is said of a job now, in place of what was said; it is due no more."""
        for table in ("verdict", "opinion", "opinion_due"):
            self._connection.execute(
                f"DELETE FROM second_probe.{table} WHERE (branch, job_id) = (%s, %s)".encode(), (self.name, job_id)
            )
        one, other = self.put("opinion", opinions), self.put("verdict", verdicts)
        return Put(one.rows + other.rows, one.refused + other.refused)


def _given(name: str, value: Any) -> Any:
    return Jsonb(value) if name in JSON and value is not None else value


def _bring_up_to_date(connection: psycopg.Connection[tuple[Any, ...]], steps: list[Step]) -> None:
    with connection.transaction():
        connection.execute("SELECT pg_advisory_xact_lock(%s)", (_STEPS_LOCK,))
        [(schema,)] = connection.execute("SELECT to_regnamespace('second_probe') IS NOT NULL").fetchall()
        if not schema:
            connection.execute("CREATE SCHEMA second_probe")
            connection.execute(
                "CREATE TABLE second_probe.step"
                " (number integer PRIMARY KEY, name text NOT NULL, done_at timestamptz NOT NULL DEFAULT now())"
            )
        [(done,)] = connection.execute("SELECT coalesce(max(number), 0) FROM second_probe.step").fetchall()
        if done > len(steps):
            raise ShopDatabaseUnusable(
                f"Its tables have had step {done}, this version knows {len(steps)}.",
                "Update Second Probe here first, then push.",
            )
        for step in steps[done:]:
            connection.execute(step.sql.encode())
            connection.execute("INSERT INTO second_probe.step (number, name) VALUES (%s, %s)", (step.number, step.name))
        if done < len(steps):
            connection.execute("UPDATE second_probe.branch SET copied_to_seq = 0")
