"""What the shop's closed jobs taught, gathered for its bench sheets: the engine's own function over the record's rows.

The closings of a shop grow by a few a day and a sheet is asked for at every touch, so what was learnt last is kept as
long as the same rows stand.
"""

from typing import Any

import msgspec

from server.engine.learning import learnt_shop
from server.store.at_once import Asked
from server.store.record import entity
from shared_models.closing import SHOP_ID, Closing, ShopFigures
from shared_models.learning import LearningQuestion
from shared_models.sheet import Shop

MARK = """SELECT (SELECT group_concat(id) FROM fact WHERE kind = 'closing'),
  (SELECT group_concat(id) FROM removed WHERE kind IN ('closing', 'job')),
  (SELECT group_concat(name || ' ' || stamp) FROM visible_field WHERE kind = 'shop' AND id = 'shop'),
  (SELECT epoch FROM server)"""
"""Names all that learning rests on in one question; a fact never changes, so which there are is all of it."""
_last: list[tuple[Any, Shop | None]] = [(None, None)]


async def gather_shop(connection: Asked) -> Shop | None:
    """What opinions are formed with beside the table; None before any closing, or where learning is switched off.

    Closings that were taken back do not count, nor those of a job that was.
    """
    [row] = await connection.execute_fetchall(MARK)
    mark = tuple(row)
    if mark[0] is None:
        return None
    known, shop = _last[0]
    if mark != known:
        # a third of a second for a thousand closings: whoever gathers sheets for others does it on a thread
        shop = learnt_shop(await learning_question(connection))
        _last[0] = mark, shop
    return shop


async def learning_question(connection: Asked) -> LearningQuestion:
    """Every closing that is not taken back and whose job is not, by id; and the shop's figures."""
    removed = await connection.execute_fetchall("SELECT id FROM removed WHERE kind IN ('closing', 'job')")
    gone = {found for (found,) in removed}
    rows = await connection.execute_fetchall("SELECT record FROM fact WHERE kind = 'closing' ORDER BY id")
    closings = (msgspec.json.decode(record, type=Closing) for (record,) in rows)
    return LearningQuestion(
        closings=tuple(one for one in closings if one.id not in gone and one.job_id not in gone),
        figures=_made(await entity(connection, "shop", SHOP_ID)),
    )


def _made(figures: dict[str, str]) -> ShopFigures | None:
    values = {name: msgspec.json.decode(value) for name, value in figures.items()}
    return msgspec.convert({**values, "id": SHOP_ID}, ShopFigures) if values else None
