"""What can be asked before the work begins: how long a charge lasts. The same engine as on the phone."""

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.bench_doors import discharge
from shared_models.discharge import Discharge, DischargeQuestion


@post("/api/discharge", status_code=200, opt={TAKES: DischargeQuestion}, responses=PROBLEMS)
async def give_discharge(request: Request) -> Discharge:
    """How the voltage of a capacitor falls and when each limit is reached. The meter decides all the same."""
    return discharge(await body_of(request))
