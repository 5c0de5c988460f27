"""Meters: a sheet from two known resistors, and two meters on the same contacts. The same engine as on the phone."""

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.meter_doors import meter_pair, meter_sheet
from shared_models.meters import MeterPair, MeterPairQuestion, MeterSheet, MeterSheetQuestion


@post("/api/meter-sheet", status_code=200, opt={TAKES: MeterSheetQuestion}, responses=PROBLEMS)
async def give_meter_sheet(request: Request) -> MeterSheet:
    """What a meter forces in diode mode, from known resistors; whether it may go on a socket."""
    return meter_sheet(await body_of(request))


@post("/api/meter-pair", status_code=200, opt={TAKES: MeterPairQuestion}, responses=PROBLEMS)
async def give_meter_pair(request: Request) -> MeterPair:
    """How much more current the second meter forces than the first, with an interval."""
    return meter_pair(await body_of(request))
