"""What closed jobs teach: what goes into a closing by itself, what was learnt, how honest the odds were.

The same engine as on the phone, about the record as it stands; nothing of these answers is kept.
"""

import asyncio

from litestar import Request, get, post
from litestar.di import NamedDependency

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.api.opinion import sheet_of
from server.engine.learning_doors import closing_facts, honesty, learnt
from server.store.database import Database
from server.store.shop_learnt import learning_question
from shared_models.learning import ClosingAsked, ClosingFacts, ClosingQuestion, Honesty, LearningQuestion, Learnt


@post("/api/closing-facts", status_code=200, opt={TAKES: ClosingAsked}, responses=PROBLEMS)
async def give_closing_facts(request: Request, database: NamedDependency[Database]) -> ClosingFacts:
    """What a job's closing holds beside what a person enters: what had been said of it, and how it was read."""
    asked: ClosingAsked = await body_of(request)
    sheet = await sheet_of(database, asked.job_id, "guided", "before_repair")
    return await asyncio.to_thread(closing_facts, ClosingQuestion(sheet=sheet, was_wrong=asked.was_wrong))


@get("/api/learnt", responses=PROBLEMS)
async def give_learnt(database: NamedDependency[Database]) -> Learnt:
    """What the shop's closed jobs say beside the table: how often what happens, what a voltage does, failed touches."""
    return await asyncio.to_thread(learnt, await _question(database))


@get("/api/honesty", responses=PROBLEMS)
async def give_honesty(database: NamedDependency[Database]) -> Honesty:
    """How honest the odds of closed jobs were, beside what honest odds would show in as many."""
    return await asyncio.to_thread(honesty, await _question(database))


async def _question(database: Database) -> LearningQuestion:
    async with database.reading() as connection:
        return await learning_question(connection)
