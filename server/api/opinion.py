"""An opinion about a bench sheet: the same engine as on the phone, in a thread beside the loop."""

import asyncio

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet


@post("/api/opinion", status_code=200, opt={TAKES: BenchSheet}, responses=PROBLEMS)
async def give_opinion(request: Request) -> Opinion:
    """What the sheet says: verdicts, stories, decisions and the next touch, each with its reasons."""
    sheet: BenchSheet = await body_of(request)
    return await asyncio.to_thread(_form, sheet)


def _form(sheet: BenchSheet) -> Opinion:
    from server.engine.door import form_opinion

    return form_opinion(sheet)
