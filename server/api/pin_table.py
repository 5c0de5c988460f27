"""A pin table pasted from a spreadsheet: read here for a phone whose engine is not up."""

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.pin_doors import pin_columns, pin_table
from shared_models.pin_table import PinColumns, PinColumnsQuestion, PinTable, PinTableQuestion


@post("/api/pin-table", status_code=200, opt={TAKES: PinTableQuestion}, responses=PROBLEMS)
async def read_pin_table(request: Request) -> PinTable:
    """The table's contacts, or every error by its line. Nothing is stored."""
    return pin_table(await body_of(request))


@post("/api/pin-columns", status_code=200, opt={TAKES: PinColumnsQuestion}, responses=PROBLEMS)
async def read_pin_columns(request: Request) -> PinColumns:
    """What a pasted table probably is: a proposal to look at. Nothing is stored."""
    return pin_columns(await body_of(request))
