"""What a touch is worth: bits about the decision per second, its risk counted as seconds."""

from typing import NamedTuple

from server.engine.constants import RISK_WEIGHT_DATA_S, RISK_WEIGHT_S
from shared_models.opinion import NextTouch


class Ranked(NamedTuple):
    """A touch with its worth: bits per second of effective cost, and how often it would change the decision."""

    worth: float
    changes: float
    shown: NextTouch


def effective_seconds(seconds: float, risk: float, data_matters: bool) -> float:
    """Seconds, with the chance of making something worse weighed as seconds; more where data matter."""
    return seconds + risk * (RISK_WEIGHT_DATA_S if data_matters else RISK_WEIGHT_S)
