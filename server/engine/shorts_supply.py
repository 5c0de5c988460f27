"""Where to begin injecting, where to stop, and what stands before it.

Common practice, no source: 0.3 V and 1 A into core and memory rails, 0.5 to 1 V and 1 to 3 A into others, never above
the lowest rail that may be joined. Data that matter are asked about twice.
"""

from server.engine.constants.shorts import START_CORE_MA, START_CORE_MV, START_MA, START_MV
from server.engine.rounding import millivolts
from server.engine.shorts_rails import CORE, Rail
from server.engine.wording_points import places
from server.engine.wording_shorts import ASK_TWICE, above_ceiling, ohms_first, supply_words
from shared_models.power import RailPoint
from shared_models.shorts import RailBeside, Refusal, ShortRailQuestion, SupplyLimits


def supply_limits(own: Rail, beside: list[RailBeside]) -> SupplyLimits:
    """The start and the ceiling: the lowest of the rail's own voltage and of every rail not proved apart."""
    joined = [one for one in beside if one.state != "apart"]
    tops = [(own.working_mv, "", own.name, own.assumed)]
    tops += [(one.working_mv, one.net, one.net, one.assumed) for one in joined]
    ceiling_mv, _, by, assumed = min(tops)
    core = own.kind in CORE or any(one.rail_kind in CORE for one in joined)
    start_mv, start_ma = (START_CORE_MV, START_CORE_MA) if core else (START_MV, START_MA)
    start_mv = min(start_mv, ceiling_mv)
    return SupplyLimits(
        start_mv=millivolts(start_mv),
        start_ma=millivolts(start_ma),
        ceiling_mv=millivolts(ceiling_mv),
        ceiling_rail=by,
        sentences=supply_words(
            own.name, start_mv, start_ma, ceiling_mv, by, assumed=assumed, core=core, alone=by == own.name
        ),
    )


def waits_for(question: ShortRailQuestion, beside: list[RailBeside]) -> tuple[str, ...]:
    """What stands before any injection: ohms to the core rails, and the second question where data matter."""
    missing = [one.net for one in beside if one.must and one.state == "not_measured"]
    told = [ohms_first(question.rail, missing)] if missing else []
    if question.data_matters != "no" and not question.asked_twice:
        told.append(ASK_TWICE)
    return tuple(told)


def refused_setting(question: ShortRailQuestion, limits: SupplyLimits, points: list[RailPoint]) -> list[Refusal]:
    """A supply set above the ceiling, and points that were taken above it."""
    own, ceiling, by = question.rail, limits.ceiling_mv, limits.ceiling_rail
    told = []
    if question.set_mv is not None and question.set_mv > ceiling:
        told.append(Refusal(code="above_ceiling", sentence=above_ceiling(question.set_mv, ceiling, by, own)))
    over = [one for one in points if one.injected_mv is not None and one.injected_mv > ceiling]
    if over:
        highest = max(one.injected_mv or 0.0 for one in over)
        told.append(
            Refusal(
                code="taken_above_ceiling",
                sentence=f"{places([(one.place, one.mv) for one in over])}: {above_ceiling(highest, ceiling, by, own)}",
                point_ids=tuple(one.id for one in over),
            )
        )
    return told
