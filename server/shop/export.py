"""The rows of the record as lines of JSON, one a row: {"table": "reading", "row": {...}}.

The same rows and names as in a shop's own PostgreSQL, without the branch.
"""

from collections.abc import AsyncIterator
from pathlib import Path

import msgspec

from server.shop.opinions import said_of
from server.shop.rows import finished
from server.store.shop_views import TABLES, all_rows, one_moment, reading_only


async def lines_of(data_dir: Path, *, with_opinions: bool = True) -> AsyncIterator[bytes]:
    """Every row of the record as it is at one moment, each a line.

    Raises:
        RecordUnusable: the record cannot be read.
    """
    async with reading_only(data_dir) as record, one_moment(record):
        jobs = []
        for kind, table in TABLES.items():
            async for row in all_rows(record, kind):
                if kind == "job":
                    jobs.append(row["id"])
                yield _line(table, finished(kind, row))
        for job_id in jobs if with_opinions else []:
            said = await said_of(record, job_id)
            for table, rows in (("opinion", said.opinions), ("verdict", said.verdicts)):
                for row in rows:
                    yield _line(table, row)


def _line(table: str, row: object) -> bytes:
    return msgspec.json.encode({"table": table, "row": row}) + b"\n"
