"""A shorted rail: who may be joined, how far to inject, where it lies. The same engine as on the phone."""

import asyncio

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.shorts import short_rail
from shared_models.shorts import ShortRail, ShortRailQuestion


@post("/api/short-rail", status_code=200, opt={TAKES: ShortRailQuestion}, responses=PROBLEMS)
async def give_short_rail(request: Request) -> ShortRail:
    """Ohms that come first, the supply's start and ceiling, and the place of the short from millivolts."""
    question: ShortRailQuestion = await body_of(request)
    return await asyncio.to_thread(short_rail, question)
