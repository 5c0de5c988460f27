"""A file of healthy boards is checked as a whole before a phone takes any of it."""

from contextlib import suppress

import msgspec
from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.reference_file import check_reference_file, refuse_newer
from shared_models.reference_file import ReferenceFile


@post("/api/reference-file", status_code=200, opt={TAKES: ReferenceFile}, responses=PROBLEMS)
async def check_file(request: Request) -> ReferenceFile:
    """The file as it came, when it can be taken; nothing is stored here, the phone's changes bring it."""
    # what is no JSON, too deep, or has no number for a version, is refused with its place by `body_of`
    with suppress(msgspec.MsgspecError, RecursionError):
        refuse_newer(await request.body())
    return check_reference_file(await body_of(request))
