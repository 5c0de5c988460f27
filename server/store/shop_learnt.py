"""What the shop's closed jobs taught, gathered for its bench sheets: the engine's own function over the record's rows.

The closings of a shop grow by a few a day and a sheet is asked for at every touch, so what was learnt last is kept as
long as the same rows stand.
"""

from typing import Any

import aiosqlite
import msgspec

from server.engine.learning import learnt_shop
from server.store.change_log import epoch
from server.store.record import entity
from shared_models.closing import Closing, ShopFigures
from shared_models.learning import LearningQuestion
from shared_models.sheet import Shop

SHOP_ID = "shop"
_last: dict[str, Any] = {"of": None, "shop": None}


async def gather_shop(connection: aiosqlite.Connection) -> Shop | None:
    """What opinions are formed with beside the table; None before any closing, or where learning is switched off.

    Closings that were taken back do not count, nor those of a job that was.
    """
    ids = await _ids(connection, "SELECT id FROM fact WHERE kind = 'closing' ORDER BY id")
    if not ids:
        return None
    removed = await _ids(connection, "SELECT id FROM removed WHERE kind IN ('closing', 'job') ORDER BY id")
    figures = await entity(connection, "shop", SHOP_ID)
    # a fact never changes, so which there are is all there is to know of them
    of = (await epoch(connection), ids, removed, tuple(sorted(figures.items())))
    if of != _last["of"]:
        closings = await gather_closings(connection, frozenset(removed))
        _last["shop"] = learnt_shop(LearningQuestion(closings=closings, figures=_made(figures)))
        _last["of"] = of
    return _last["shop"]


async def gather_closings(connection: aiosqlite.Connection, removed: frozenset[str]) -> tuple[Closing, ...]:
    """Every closing that is not `removed` and whose job is not, by id."""
    rows = await connection.execute_fetchall("SELECT record FROM fact WHERE kind = 'closing' ORDER BY id")
    closings = (msgspec.json.decode(record, type=Closing) for (record,) in rows)
    return tuple(one for one in closings if one.id not in removed and one.job_id not in removed)


async def _ids(connection: aiosqlite.Connection, query: str) -> tuple[str, ...]:
    return tuple(found for (found,) in await connection.execute_fetchall(query))


def _made(figures: dict[str, str]) -> ShopFigures | None:
    values = {name: msgspec.json.decode(value) for name, value in figures.items()}
    return msgspec.convert({**values, "id": SHOP_ID}, ShopFigures) if values else None
