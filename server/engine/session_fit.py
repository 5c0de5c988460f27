"""What a session has in common, found from the contacts whose healthy reading reference boards tell.

Three explanations are weighed: the meter and the air as they were told; the same beside one chip of another maker,
whose lines then move neither; and a meter and an air that nobody told rightly.
"""

import math

from server.engine.bands import Healthy
from server.engine.common_fit import CommonFit, Point, Prior, fit_common, is_strained, leaning_less
from server.engine.constants import (
    DOUBLE_TOUCH_MV,
    FEW_CONTACTS,
    OFFSET_MIN_CONTACTS,
    OFFSET_SD_MV,
    REVISION_SPAN_MV,
    SESSION_STEPS,
    SHARE,
    TOLD_WRONGLY,
)
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
            points.append(Point(band.loc, one.drop_mv, band.scale, path, chip, band.lean_mv))
            keys.append((contact, lead))
    prior = Prior(at.current_ma, at.air_c, current_sd, air_sd_k, OFFSET_SD_MV)
    common = fit_common(points, prior, starts_of(points, prior), SESSION_STEPS)
    strained = bool(points) and is_strained(common, prior)
    if strained:
        common = _beside_another_maker(points, prior, common)
    wrongly = 0.0
    if strained and _used(common) >= OFFSET_MIN_CONTACTS:
        free = Prior(at.current_ma, at.air_c, *told_nothing(current_sd, air_sd_k), OFFSET_SD_MV)
        untold = fit_common(points, free, starts_of(points, free)[:2], SESSION_STEPS)
        wrongly = untold.evidence - common.evidence
        if wrongly > 1:
            wrongly = untold.evidence - max(common.evidence, _with_a_chip_of_another_maker(points, prior))
        if wrongly > TOLD_WRONGLY:
            common, prior = untold, free
    offset, offset_sd = plain_offset(plain)
    weights = dict(zip(keys, common.weights, strict=True))
    without: dict[tuple[int, str], CommonFit] = {}
    if len(points) <= FEW_CONTACTS:
        # each of a few makes most of the fit: it is made again without the one that is judged
        for place, key in enumerate(keys):
            others = points[:place] + points[place + 1 :]
            without[key] = fit_common(others, prior, starts_of(others, prior), SESSION_STEPS)
    return SessionFit(common, weights, without, offset, offset_sd, _used(common)), wrongly


def _beside_another_maker(points: list[Point], prior: Prior, common: CommonFit) -> CommonFit:
    """The fit in which one chip's lines are another maker's, where that explains the readings better; else `common`.

    Such a chip is a story of its own: its lines move neither the meter nor the air. They lean as far as a healthy
    chip's may; what is left of their shift stays in view.
    """
    makers = sorted({maker for point in points if (maker := point.chip.partition("/")[0])})
    rarely = math.log(SHARE["other_revision"] / (math.fsum(SHARE.values()) * max(1, len(makers))))
    best, evidence = common, common.evidence + TOLD_WRONGLY
    for maker in makers:
        freed = [
            point._replace(chip_mv=math.hypot(point.chip_mv, REVISION_SPAN_MV / math.sqrt(3)))
            if point.chip.startswith(f"{maker}/")
            else point
            for point in points
        ]
        fit = fit_common(freed, prior, [(0.0, 0.0)], SESSION_STEPS)
        if fit.evidence + rarely > evidence:
            pairs = zip(points, freed, strict=True)
            usual = {one.chip: one.chip_mv / free.chip_mv for one, free in pairs if one.chip}
            best, evidence = leaning_less(fit, usual, prior.lean_most), fit.evidence + rarely
    return best


def _with_a_chip_of_another_maker(points: list[Point], prior: Prior) -> float:
    """The best evidence with what was told and one chip of another maker: its lines are off, and no meter is.

    Such a chip is a story of its own; here it only keeps the meter from being blamed for it.
    """
    best = -math.inf
    for maker in sorted({point.chip.partition("/")[0] for point in points if not point.chip.startswith("/")}):
        if not maker:
            continue
        free = [
            point._replace(chip_mv=math.hypot(point.chip_mv, REVISION_SPAN_MV / math.sqrt(3)))
            if point.chip.startswith(f"{maker}/")
            else point
            for point in points
        ]
        best = max(best, fit_common(free, prior, [(0.0, 0.0)], SESSION_STEPS).evidence)
    return best + math.log(SHARE["other_revision"] / SHARE["meter_differs"])


def _used(common: CommonFit) -> int:
    """How many of a fit's contacts are more likely healthy than not."""
    used = 0
    for weight in common.weights:
        used += 1 if weight > 0.5 else 0
    return used
