"""A centre that one wild value does not move: Huber's location with the MAD as scale.

Source: P. J. Huber, "Robust Estimation of a Location Parameter", Annals of Mathematical Statistics
35 (1964) 73-101; 1.4826 times the median absolute deviation as fixed scale, as in Venables and Ripley,
Modern Applied Statistics with S, 4th edition, section 5.5; of few values it is too small by the factors of
C. Croux and P. J. Rousseeuw, "Time-efficient algorithms for two highly robust estimators of scale", COMPSTAT 1992
(from memory; a test draws them).
"""

import math
from collections.abc import Sequence

from server.engine.constants.meters import HUBER_K, HUBER_STEPS, HUBER_STOP, MAD_OF_FEW, MAD_OF_MANY, MAD_TO_SD


def median(values: Sequence[float]) -> float:
    """The middle value, or the mean of the two middle ones. Raises ValueError for none."""
    if not values:
        raise ValueError("no values were given, expected at least one, e.g. [452.0]")
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])


def mad_scale(values: Sequence[float]) -> float:
    """Median absolute deviation from the median, times 1.4826: the deviation of normal values."""
    middle = median(values)
    return median([abs(value - middle) for value in values]) * MAD_TO_SD


def mad_scale_of_few(values: Sequence[float]) -> float:
    """The same without the bias that it has for few values. Of fewer than two it is 0."""
    count = len(values)
    if count < 2:
        return 0.0
    factor = MAD_OF_FEW[count - 2] if count - 2 < len(MAD_OF_FEW) else count / (count - MAD_OF_MANY)
    return factor * mad_scale(values)


def huber_location(values: Sequence[float], scale: float) -> float:
    """The location at which what lies beyond `HUBER_K` scales pulls no harder than what lies there.

    With a scale of 0 (more than half of the values are equal) it is the median.
    """
    centre = median(values)
    if scale <= 0:
        return centre
    reach = HUBER_K * scale
    for _ in range(HUBER_STEPS):
        moved = math.fsum([min(max(value, centre - reach), centre + reach) for value in values]) / len(values)
        if abs(moved - centre) <= HUBER_STOP * scale:
            return moved
        centre = moved
    return centre
