"""What closed jobs teach: what goes into a closing by itself, what was learnt, how honest the odds were.

The same engine as on the phone; nothing of these answers is kept.
"""

import asyncio

from litestar import Request, post

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.learning_doors import closing_facts, honesty, learnt
from shared_models.learning import ClosingFacts, ClosingQuestion, Honesty, LearningQuestion, Learnt


@post("/api/closing-facts", status_code=200, opt={TAKES: ClosingQuestion}, responses=PROBLEMS)
async def give_closing_facts(request: Request) -> ClosingFacts:
    """What a job's closing holds beside what a person enters: what had been said of it, and how it was read."""
    question: ClosingQuestion = await body_of(request)
    return await asyncio.to_thread(closing_facts, question)


@post("/api/learnt", status_code=200, opt={TAKES: LearningQuestion}, responses=PROBLEMS)
async def give_learnt(request: Request) -> Learnt:
    """What a shop's closed jobs say beside the table: how often what happens, what a voltage does, failed touches."""
    question: LearningQuestion = await body_of(request)
    return await asyncio.to_thread(learnt, question)


@post("/api/honesty", status_code=200, opt={TAKES: LearningQuestion}, responses=PROBLEMS)
async def give_honesty(request: Request) -> Honesty:
    """How honest the odds of closed jobs were, beside what honest odds would show in as many."""
    question: LearningQuestion = await body_of(request)
    return await asyncio.to_thread(honesty, question)
