"""What next: chances, ways of going on, when to stop, and what comes before power, for one opinion.

Their order: mends (what may have to be mended) -> rates, chances -> options -> stop_list; unexplained -> before_power
(draw). Also runs on the phone.
"""

from typing import NamedTuple

from server.engine.before_power import before_power
from server.engine.candidate import Hypothesis
from server.engine.chances import chances_of, weigh
from server.engine.inference import Judged
from server.engine.mends import branches_of
from server.engine.options import options_of
from server.engine.stop_list import stop_list
from server.engine.unexplained import named, power_ups, unexplained
from server.engine.verdicts import ContactState
from shared_models.chances import BeforePower, Chances, Options, StopLine
from shared_models.opinion import NextTouch, Stop
from shared_models.sheet import BenchSheet


class WhatNext(NamedTuple):
    """The four answers beside one another."""

    chances: Chances
    options: Options
    stop_list: tuple[StopLine, ...]
    power: BeforePower


def decide(
    sheet: BenchSheet,
    judged: Judged,
    states: list[ContactState],
    known: list[Hypothesis],
    coming: tuple[NextTouch, ...],
    done: Stop | None,
) -> WhatNext:
    """What may come of the job as it was judged. `coming`: the next touches; `done`: why none is worth its time."""
    board = judged.prepared.board
    lows = unexplained(judged, states, known)
    open_lows = bool(lows) and not named(sheet)
    branches = branches_of(judged, states, known)
    weighed = weigh(sheet, board, branches, power_ups(sheet) if open_lows else 0)
    options = options_of(sheet, board, branches, weighed, open_lows)
    boards = max((band.boards for (_, lead), band in judged.bands.items() if lead == "red"), default=0)
    return WhatNext(
        chances_of(sheet, board, branches, weighed, boards),
        options,
        stop_list(sheet, judged, options, coming, done, lows=open_lows),
        before_power(sheet, judged, states, lows),
    )
