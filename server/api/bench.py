"""What can be asked before the work begins: how long a charge lasts, who meets what if the plug sits wrong.

The same engine as on the phone.
"""

import asyncio

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.bench_doors import discharge, overstress_picture
from shared_models.discharge import Discharge, DischargeQuestion
from shared_models.overstress import OverstressMap, OverstressQuestion


@post("/api/discharge", status_code=200, opt={TAKES: DischargeQuestion}, responses=PROBLEMS)
async def give_discharge(request: Request) -> Discharge:
    """How the voltage of a capacitor falls and when each limit is reached. The meter decides all the same."""
    return discharge(await body_of(request))


@post("/api/overstress", status_code=200, opt={TAKES: OverstressQuestion}, responses=PROBLEMS)
async def give_overstress(request: Request) -> OverstressMap:
    """For every way a plug can sit wrong on this socket and every state: what the module and the board meet."""
    question: OverstressQuestion = await body_of(request)
    return await asyncio.to_thread(overstress_picture, question)
