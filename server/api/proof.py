"""The repair proved: before and after of one job beside each other. The same engine as on the phone."""

import asyncio

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.proof import repair_proof
from shared_models.proof import RepairProof
from shared_models.sheet import BenchSheet


@post("/api/proof", status_code=200, opt={TAKES: BenchSheet}, responses=PROBLEMS)
async def give_proof(request: Request) -> RepairProof:
    """What became of each contact after the repair, from a bench sheet that holds the readings of both stages."""
    sheet: BenchSheet = await body_of(request)
    return await asyncio.to_thread(repair_proof, sheet)
