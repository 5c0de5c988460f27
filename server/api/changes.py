"""Changes in and out: what keeps the phones and the shop's record the same."""

from typing import Annotated

from litestar import Request, get, post
from litestar.di import NamedDependency
from litestar.params import QueryParameter

from server.api.description import PROBLEMS
from server.api.edge import TAKES, json_text_of
from server.store.database import Database
from server.sync.accept import Vocabulary
from server.sync.exchange import SentBatch, hand_out, open_batch, take_batch
from shared_models.change import BatchAnswer, ChangePage

LARGEST_SEQ = 2**53 - 1
"""The largest whole number that JavaScript holds exactly."""
LARGEST_PAGE = 1000


@post("/api/changes", status_code=200, opt={TAKES: SentBatch}, responses=PROBLEMS)
async def push_changes(
    request: Request, database: NamedDependency[Database], vocabulary: NamedDependency[Vocabulary]
) -> BatchAnswer:
    """Takes a batch: an answer for each change, in its order. Repeating a batch changes nothing."""
    return await take_batch(database, open_batch(await json_text_of(request)), vocabulary)


@get("/api/changes", responses=PROBLEMS)
async def pull_changes(
    database: NamedDependency[Database],
    after: Annotated[int, QueryParameter(ge=0, le=LARGEST_SEQ, description="the cursor: the last number applied")],
    limit: Annotated[int, QueryParameter(ge=1, le=LARGEST_PAGE, description="changes in a page, at most")] = 500,
) -> ChangePage:
    """The changes after a cursor, oldest first; `next_after` is the cursor once they are applied."""
    return await hand_out(database, after, limit)
