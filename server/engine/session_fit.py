"""What a session has in common, found from the contacts whose healthy reading reference boards tell.

Three explanations are weighed: the meter and the air as they were told; the same beside one chip of another maker,
whose lines then move neither; and a meter and an air that nobody told rightly.
"""

import math

from server.engine.bands import Healthy
from server.engine.common_fit import CommonFit, Point, fit_again, fit_common, is_strained, leaning_less
from server.engine.constants.overstress import REVISION_SD_MV
from server.engine.constants.readings import DOUBLE_TOUCH_MV
from server.engine.constants.sessions import (
    FEW_CONTACTS,
    OFFSET_MIN_CONTACTS,
    OFFSET_SD_MV,
    SESSION_AGAIN,
    SESSION_STEPS,
    TOLD_WRONGLY,
)
from server.engine.constants.stories import SHARE
from server.engine.fit_arrow import Prior
from server.engine.meters import Conditions, SessionFit, plain_offset, starts_of, told_nothing
from server.engine.prepared import Prepared
from server.engine.roles import leans_with
from server.engine.seen import Seen


def fit_from_references(
    prepared: Prepared,
    seen: dict[tuple[int, str], Seen],
    bands: dict[tuple[int, str], Healthy],
    at: Conditions,
    current_sd: float,
    air_sd_k: float,
) -> tuple[SessionFit, float]:
    """The session's common unknowns from contacts whose healthy reading is known from reference boards, and by how
    much (ln) the readings fit a current and a temperature nobody told better than those that were.

    A rail is one witness, by the contact of it that was read first. Where what was told is too far off it is not
    used: resistors in series need the current the readings themselves show.
    """
    points, keys, plain, plain_keys = [], [], [], []
    told: set[int] = set()
    for (contact, lead), one in seen.items():
        band = bands[contact, lead]
        if not (
            lead == "red"
            and one.drop_mv is not None
            and one.rival is None
            and one.meter_id == at.meter_id
            and band.rests_on == "reference_boards"
            and band.ol_odds < 0.5
            and band.loc > DOUBLE_TOUCH_MV
        ):
            continue
        path = band.path
        if path is None:
            plain.append((band.loc, one.drop_mv, band.scale))
            plain_keys.append((contact, lead))
        elif prepared.net_variable[contact] not in told:
            told.add(prepared.net_variable[contact])
            chip = leans_with(prepared.board.contacts[contact])
            points.append(Point(band.loc, one.drop_mv, band.scale, path, chip, band.lean_mv, band.die_mv))
            keys.append((contact, lead))
    prior = Prior(at.current_ma, at.air_c, current_sd, air_sd_k, OFFSET_SD_MV)
    common = fit_common(points, prior, starts_of(points, prior), SESSION_STEPS)
    common, prior, wrongly = _best_told(points, prior, common, *told_nothing(current_sd, air_sd_k))
    offset, offset_sd = plain_offset(plain)
    weights = dict(zip(keys, common.weights, strict=True))
    without: dict[tuple[int, str], CommonFit] = {}
    if len(points) <= FEW_CONTACTS:
        # each of a few makes most of the fit: it is made again without the one that is judged
        for place, key in enumerate(keys):
            others = points[:place] + points[place + 1 :]
            without[key] = fit_common(others, prior, starts_of(others, prior), SESSION_STEPS)
    return SessionFit(common, weights, without, offset, offset_sd, _used(common)), wrongly


def _best_told(
    points: list[Point], prior: Prior, common: CommonFit, current_sd: float, air_sd_k: float
) -> tuple[CommonFit, Prior, float]:
    """Of a meter and an air as told, beside one chip of another maker, or not told rightly (then this wide): the fit
    that explains the readings best with its prior, and how much better (ln) the last explains them than the others.
    """
    wrongly, evidence, strained = 0.0, -math.inf, bool(points) and is_strained(common, prior)
    best = common
    if strained:
        maker, evidence = _beside_another_maker(points, prior)
        rarely = math.log(SHARE["other_revision"] / math.fsum(SHARE.values()))
        if maker is not None and evidence + rarely > common.evidence + TOLD_WRONGLY:
            best = maker
    if _used(best) >= OFFSET_MIN_CONTACTS:
        free = Prior(prior.current_ma, prior.air_c, current_sd, air_sd_k, OFFSET_SD_MV)
        untold = (
            fit_common(points, free, starts_of(points, free)[:2], SESSION_STEPS)
            if strained
            else fit_again(points, free, common, SESSION_AGAIN)
        )
        wrongly = untold.evidence - common.evidence
        if strained and wrongly > 1:
            rather = math.log(SHARE["other_revision"] / SHARE["meter_differs"])
            wrongly = untold.evidence - max(common.evidence, evidence + rather)
        if wrongly > TOLD_WRONGLY:
            return untold, free, wrongly
    return best, prior, wrongly


def _beside_another_maker(points: list[Point], prior: Prior) -> tuple[CommonFit | None, float]:
    """The fit in which one chip's lines are another maker's, with its evidence over all the chips it could be.

    Such a chip is a story of its own: its lines move neither the meter nor the air. They lean as far as a healthy
    chip's may; what is left of their shift stays in view.
    """
    makers = sorted({maker for point in points if (maker := point.chip.partition("/")[0])})
    best: CommonFit | None = None
    evidence = -math.inf
    for maker in makers:
        freed = [
            point._replace(chip_mv=math.hypot(point.chip_mv, REVISION_SD_MV))
            if point.chip.startswith(f"{maker}/")
            else point
            for point in points
        ]
        fit = fit_common(freed, prior, [(0.0, 0.0)], SESSION_STEPS)
        if fit.evidence - math.log(len(makers)) > evidence:
            pairs = zip(points, freed, strict=True)
            usual = {one.chip: one.chip_mv / free.chip_mv for one, free in pairs if one.chip}
            best, evidence = leaning_less(fit, usual, prior.lean_most), fit.evidence - math.log(len(makers))
    return best, evidence


def _used(common: CommonFit) -> int:
    """How many of a fit's contacts are more likely healthy than not."""
    used = 0
    for weight in common.weights:
        used += 1 if weight > 0.5 else 0
    return used
