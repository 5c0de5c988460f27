"""The draw at the first power beside the one expected, and what it means next. Also runs on the phone."""

from server.engine.constants.chances import AT_LIMIT, DRAW_BAND, DRAW_NOTHING_MA
from server.engine.wording_power import DRAW_STOPS, draw_sentence
from shared_models.chances import DrawCode, DrawJudged
from shared_models.job import Observation
from shared_models.power import PowerCheck
from shared_models.sheet import BenchSheet

SAID: dict[str, DrawCode] = {
    "draw_none": "none",
    "draw_at_limit": "at_limit",
    "draw_low_steady": "stuck_low",
    "draw_in_steps": "in_steps",
}


def draws_of(sheet: BenchSheet) -> list[Observation]:
    """Every draw that was noted and not taken back."""
    return [one for one in sheet.observations if one.seen.startswith("draw_") and one.id not in sheet.removed_ids]


def draw_judged(sheet: BenchSheet, limit_set: PowerCheck | None) -> DrawJudged | None:
    """The newest draw that was noted, judged; none while nobody noted one."""
    draws = draws_of(sheet)
    if not draws:
        return None
    newest = max(draws, key=lambda one: (one.seen_at_ms, one.id))
    limit_ma = newest.limit_ma if newest.limit_ma is not None else limit_set.limit_ma if limit_set is not None else None
    expected_ma = limit_set.expected_ma if limit_set is not None else None
    code = _code(newest, limit_ma, expected_ma)
    return DrawJudged(
        observation_id=newest.id,
        code=code,
        draw_ma=newest.draw_ma,
        expected_ma=expected_ma,
        limit_ma=limit_ma,
        sentence=draw_sentence(code, newest.draw_ma, expected_ma, limit_ma),
        stop=code in DRAW_STOPS,
    )


def _code(seen: Observation, limit_ma: float | None, expected_ma: float | None) -> DrawCode:
    """The number says more than the word where there is one; steps are only seen."""
    draw_ma = seen.draw_ma
    if seen.seen == "draw_in_steps":
        return "in_steps"
    if draw_ma is not None and draw_ma < DRAW_NOTHING_MA:
        return "none"
    if draw_ma is not None and limit_ma is not None and draw_ma >= AT_LIMIT * limit_ma:
        return "at_limit"
    if seen.seen in SAID:
        return SAID[seen.seen]
    if draw_ma is None or expected_ma is None:
        return "as_expected"
    if draw_ma > DRAW_BAND["high"] * expected_ma:
        return "above_expected"
    return "below_expected" if draw_ma < DRAW_BAND["low"] * expected_ma else "as_expected"
