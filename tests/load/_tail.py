"""How long the slowest of a route's answers take while phones send, beside another application's in the same minute."""

import asyncio
import statistics
import time
from collections.abc import Sequence
from typing import NamedTuple

from tests.load._phones import Bodies, Line, push

TURN = 50
"""Requests before it is another one's turn: some tenths of a second, so that what else the machine does meets all."""

PUSH_EVERY_S, ASK_EVERY_S = 0.07, 0.017
"""So often a batch is sent and an answer is asked for, or once the last one is there: 14 batches a second, 2,800
readings. By the clock, since an application that answers sooner would else be asked more often between two batches,
and a smaller share of what it answers would meet one."""


class Door(NamedTuple):
    """Where requests go: a port, and the header that comes with them."""

    port: int
    header: str = "X: y"


class Asked(NamedTuple):
    """A route that is asked while pushes go to another one, of the same application or of another."""

    path: str
    at: Door
    pushes_path: str
    pushes_at: Door


class Took(NamedTuple):
    """How long answers took, and how many batches were taken meanwhile."""

    ms: list[float]
    pushes: int

    def p99_ms(self) -> float:
        """The 99th percentile."""
        return statistics.quantiles(self.ms, n=100)[98]

    def in_words(self) -> str:
        """For people."""
        return (f"{statistics.median(self.ms):.1f} ms, 99th percentile {self.p99_ms():.1f}, slowest {max(self.ms):.1f};"
                f" {self.pushes} batches meanwhile")


async def in_turns(routes: Sequence[Asked], times: int, bodies: Bodies) -> list[Took]:
    """Each asked so often, a few at a time and in turns, the other way round each second time."""
    found = [Took([], 0) for _ in routes]
    for turn in range(times // TURN):
        order = range(len(routes)) if turn % 2 else reversed(range(len(routes)))
        for number in order:
            ms, pushes = await _turn(routes[number], bodies)
            found[number] = Took(found[number].ms + ms, found[number].pushes + pushes)
    return found


async def _turn(asked: Asked, bodies: Bodies) -> Took:
    # a connection that is silent while others have their turns would be hung up
    line, pusher = Line(*asked.at), Line(*asked.pushes_at)
    await line.ask("GET", asked.path)
    took: list[float] = []
    pushes = 0

    async def go_on_pushing() -> None:
        nonlocal pushes
        while len(took) < TURN:
            began = time.perf_counter()
            await push(pusher, bodies.next(), asked.pushes_path)
            pushes += 1
            await _until(began + PUSH_EVERY_S)

    load = asyncio.create_task(go_on_pushing())
    while len(took) < TURN:
        began = time.perf_counter()
        status, answer = await line.ask("GET", asked.path)
        took.append(1000 * (time.perf_counter() - began))
        assert status == 200, answer[:300]
        await _until(began + ASK_EVERY_S)
    await load
    line.close()
    pusher.close()
    return Took(took, pushes)


async def _until(then: float) -> None:
    await asyncio.sleep(max(then - time.perf_counter(), 0))
