"""Copies the record into a shop's own PostgreSQL: page by page, and why it may be stopped anywhere.

Decides: that a page of changes, the rows they touch and the number they end with are one transaction there, so
that a run that was cut goes on where it stopped and one that is repeated changes nothing; that each row is read
from the record as it is now, whatever order its changes had; that opinions come after the rows.
"""

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import aiosqlite

from server.shop.opinions import said_of
from server.shop.rows import finished
from server.store.shop_database import Branch, ShopDatabase
from server.store.shop_views import (
    TABLES,
    changed_after,
    jobs_of,
    one_moment,
    opened_since,
    reading_only,
    rows_of,
    source_of,
)
from shared_models.base import Model

CHANGES_AT_ONCE = 500

Told = Callable[[str, int, int], None]
"""Told of progress: of "changes" or "jobs judged", how many are done and how many there are."""


class Pushed(Model, frozen=True, kw_only=True):
    """What one run did. `rows`: how many were put in their place, by table; `refused`: how many were put aside."""

    changes: int
    rows: dict[str, int]
    refused: int
    opinions: int


class Copying:
    """Copies one record, as often as it is asked; keeps the counts of one run."""

    def __init__(
        self, data_dir: Path, shop: ShopDatabase, branch: str, told: Told, *,
        with_opinions: bool = True, begun_anew: bool = False, is_ended: Callable[[], bool] = lambda: False,
    ) -> None:
        self._data_dir, self._shop, self._branch, self._told = data_dir, shop, branch, told
        self._with_opinions, self._begun_anew, self._is_ended = with_opinions, begun_anew, is_ended
        self._begin()

    def _begin(self) -> None:
        self._changes, self._refused, self._opinions, self._judged = 0, 0, 0, 0
        self._rows: Counter[str] = Counter()

    async def run(self) -> Pushed:
        """Copies what is new since the last run, or a part of it when it is ended before.

        Raises:
            RecordUnusable: the record cannot be read; ShopDatabaseUnusable or psycopg.Error: the database.
                What was copied by then stays copied.
        """
        self._begin()
        async with reading_only(self._data_dir) as record:
            while not self._is_ended() and await self._page(record):
                pass
            while self._with_opinions and not self._is_ended() and await self._opinion(record):
                pass
        return Pushed(
            changes=self._changes, rows=dict(self._rows), refused=self._refused, opinions=self._opinions
        )

    async def _page(self, record: aiosqlite.Connection) -> bool:
        """One page; whether there is another."""
        async with one_moment(record):
            source = await source_of(record)
            with self._shop.branch(self._branch, source, begun_anew=self._begun_anew) as branch:
                page = await changed_after(record, branch.copied_to_seq, CHANGES_AT_ONCE)
                opened = await opened_since(record, branch.closed())
                if page.last_seq == branch.copied_to_seq and not opened.touched:
                    return False
                for touched in (page.touched, opened.touched):
                    await self._copy(record, branch, touched)
                branch.note_closed([*opened.closed, *page.closed])
                branch.moved_to(page.last_seq)
            self._changes += page.last_seq - branch.copied_to_seq
        self._told("changes", page.last_seq, source.newest_seq)
        return page.last_seq < source.newest_seq

    async def _copy(self, record: aiosqlite.Connection, branch: Branch, touched: dict[str, set[str]]) -> None:
        for kind, table in TABLES.items():
            if ids := touched.get(kind):
                rows = [finished(kind, row) for row in await rows_of(record, kind, ids)]
                put = branch.put(table, rows)
                self._rows[table] += put.rows
                self._refused += put.refused
        if self._with_opinions:
            branch.note_due(sorted(await jobs_of(record, touched)))

    async def _opinion(self, record: aiosqlite.Connection) -> bool:
        """One job's opinion; whether there was one to be formed."""
        async with one_moment(record):
            source = await source_of(record)
            with self._shop.branch(self._branch, source, begun_anew=self._begun_anew) as branch:
                job, due = branch.due()
                if job is None:
                    return False
                said = await said_of(record, job)
                self._refused += branch.put_said(job, said.opinions, said.verdicts).refused
            self._opinions += len(said.opinions)
            self._judged += 1
        self._told("jobs judged", self._judged, self._judged + due - 1)
        return True


def once_a_second(say: Callable[[str], None]) -> Told:
    """Says progress at most once a second, and each end."""
    said_at_s = time.monotonic()

    def told(what: str, done: int, of: int) -> None:
        nonlocal said_at_s
        now_s = time.monotonic()
        if now_s - said_at_s >= 1:
            said_at_s = now_s
            say(f"{what} {done} of {of}, {100 * done // max(of, 1)} %")

    return told
