"""What a healthy contact reads by its siblings on this very board: lines of one chip and role, where no other board is.

Each is judged without itself. Enough siblings: their median; of a few the one that reads most alike.
"""

import math

from server.engine.accepted_board import Board
from server.engine.bands import Healthy, apart_sd
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import GROUP_MIN, GROUP_SD_MV, OWN_SPREAD_DF, PARTNER_SD_MV, SIBLING_DF
from server.engine.robust import median
from server.engine.roles import sibling_groups


def sibling_bands(board: Board, read: dict[int, float], bands: dict[int, Healthy]) -> dict[int, Healthy]:
    """Bands by siblings for contacts whose band rests on the role: judged without the contact itself.

    `bands` are those with red on ground; `read` is this session's drop of each contact that was read (mV).
    """
    told: dict[int, Healthy] = {}
    for members in sibling_groups(board.contacts).values():
        present = [index for index in members if index in read]
        for index in members:
            band = bands.get(index)
            if band is None or band.rests_on != "role":
                continue
            better = _from_siblings(board, index, [other for other in present if other != index], read, band)
            if better is not None:
                told[index] = better
    return told


def _from_siblings(
    board: Board, index: int, others: list[int], read: dict[int, float], band: Healthy
) -> Healthy | None:
    partner = board.places.get(board.contacts[index].pair_with or "")
    values = [read[other] for other in others]
    middle = median(values) if len(values) >= GROUP_MIN else 0.0
    off = [value - middle for value in values if abs(value - middle) < VERDICT_Z_RETOUCH * GROUP_SD_MV]
    if len(values) < GROUP_MIN or 2 * len(off) <= len(values):
        return _from_one_sibling(board, index, {one: apart_sd(one == partner) for one in others}, read, band)
    loc, variance = middle, GROUP_SD_MV * GROUP_SD_MV
    if partner in others and partner is not None and abs(read[partner] - middle) < VERDICT_Z_RETOUCH * GROUP_SD_MV:
        weight, own = 1 / (PARTNER_SD_MV * PARTNER_SD_MV), 1 / variance
        loc, variance = (read[partner] * weight + middle * own) / (weight + own), 1 / (weight + own)
    df, wider = _as_siblings_stray(off)
    return _sibling(band, loc, math.sqrt(variance) * wider, tuple(board.contacts[other].number for other in others), df)


def _as_siblings_stray(off_mv: list[float]) -> tuple[float, float]:
    """(degrees of freedom, factor on the scale) of a band by siblings, from how far they lie from their middle (mV).

    How uncertain their spread is has a part of each line's own and one that all share; only of that one the siblings
    tell (inverse chi-squared; Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.6). Never narrower: those
    far off were left out.
    """
    shared = 1 / (1 / SIBLING_DF - 1 / OWN_SPREAD_DF)
    told, squares = len(off_mv) - 1, math.fsum(off * off for off in off_mv) / (GROUP_SD_MV * GROUP_SD_MV)
    factor = math.sqrt(max(1.0, (shared + squares) / (shared + told)))
    return 1 / (1 / OWN_SPREAD_DF + 1 / (shared + told)), factor


def _from_one_sibling(
    board: Board, index: int, sds: dict[int, float], read: dict[int, float], band: Healthy
) -> Healthy | None:
    """The band by the one of few siblings that reads most alike (`sds`: how far each strays from it). Of two that
    differ the lower is judged by the higher, and that by the role: most faults bring a line low, few bring it high.
    """
    near = {other: sd for other, sd in sds.items() if abs(read[other] - band.loc) < VERDICT_Z_RETOUCH * band.scale}
    if not near:
        return None
    own = read.get(index)
    if own is None:
        beside = min(near, key=lambda other: (near[other], other))
    else:
        beside = min(near, key=lambda other: (abs(read[other] - own) / near[other], other))
        if len(sds) == 1 and own - read[beside] > VERDICT_Z_RETOUCH * near[beside]:
            return None
    return _sibling(band, read[beside], near[beside], (board.contacts[beside].number,))


def _sibling(band: Healthy, loc: float, sd: float, siblings: tuple[str, ...], df: float = SIBLING_DF) -> Healthy:
    return band._replace(rests_on="siblings", loc=loc, scale=sd, df=df, siblings=siblings)
