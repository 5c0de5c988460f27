"""What a touch is worth: bits about the decision per second, its risk counted as seconds."""

from typing import NamedTuple

from server.engine.constants.next_touch import RISK_WEIGHT_DATA_S, RISK_WEIGHT_S, WRITE_DOWN_S
from shared_models.opinion import NextTouch


class Ranked(NamedTuple):
    """A touch with its worth: bits per second of effective cost, and how often it would change the decision.

    `finer`: it tells more than the decision, as which part it is.
    """

    worth: float
    changes: float
    shown: NextTouch
    finer: bool = False


def effective_seconds(seconds: float, risk: float, numbers: int, data_matters: bool) -> float:
    """Seconds with each number written down, and the chance of making something worse weighed as seconds too.

    Risk weighs more where data matter.
    """
    return seconds + WRITE_DOWN_S * numbers + risk * (RISK_WEIGHT_DATA_S if data_matters else RISK_WEIGHT_S)
