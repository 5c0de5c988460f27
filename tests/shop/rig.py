"""Copying and looking at what was copied, for the tests of this folder."""

import json
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
from psycopg.rows import dict_row

from server.shop.export import lines_of
from server.shop.push import Copying, Pushed
from server.store.shop_database import ShopDatabase

TABLES = (
    "job", "meter", "reference_board", "board", "reading", "observation", "make_safe", "photo", "power_check",
    "rail_point", "custody", "consent", "closing", "figures", "opinion", "verdict",
)
Content = dict[str, dict[str, dict[str, Any]]]


def silent(_what: str, _done: int, _of: int) -> None:
    """Told of progress, and says nothing."""


async def copy(
    record: Path, address: str, branch: str = "shop", told: Callable[[str, int, int], None] = silent, *,
    with_opinions: bool = False, begun_anew: bool = False,
) -> Pushed:
    """One run of the copying; without opinions unless they are what is asked about, since each takes the engine."""
    with closing(ShopDatabase.open(address)) as shop:
        copying = Copying(record, shop, branch, told, with_opinions=with_opinions, begun_anew=begun_anew)
        return await copying.run()


def key_of(table: str, row: dict[str, Any]) -> str:
    """What names a row within a branch."""
    return " ".join(row[name] for name in {"opinion": ("job_id", "stage"), "verdict": ("job_id", "stage", "contact")}
                    .get(table, ("id",)))


def content(address: str, branch: str = "shop") -> Content:
    """Every row of a branch, without the columns the database makes itself."""
    found: Content = {}
    with psycopg.connect(address) as connection, connection.cursor(row_factory=dict_row) as cursor:
        for table in TABLES:
            rows = cursor.execute(f"SELECT * FROM second_probe.{table} WHERE branch = %s".encode(), (branch,))
            found[table] = {}
            for row in rows.fetchall():
                made = {name.removesuffix("_ms") for name in row if name.endswith("_ms")}
                kept = {name: value for name, value in row.items() if name != "branch" and name not in made}
                found[table][key_of(table, kept)] = kept
    return found


async def exported(record: Path, *, with_opinions: bool = False) -> Content:
    """What `export` writes of a record, in the shape of `content`."""
    found: Content = {table: {} for table in TABLES}
    async for line in lines_of(record, with_opinions=with_opinions):
        one = json.loads(line)
        found[one["table"]][key_of(one["table"], one["row"])] = one["row"]
    return found


def asked(address: str, question: str) -> list[tuple[Any, ...]]:
    """The rows of a query."""
    with psycopg.connect(address, autocommit=True) as connection:
        return connection.execute(question.encode()).fetchall()
