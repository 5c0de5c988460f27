"""A shorted rail, in the order of the work: ohms, supply, heat, millivolts along a line or over a plane.

The order to read it in: `shorts_rails` (who may be joined), `shorts_supply` (start, ceiling, what stands before),
`shorts_points` (what makes no sense), `shorts_line` with `broken_line`, `shorts_plane` with `sheet_grid`, `copper`.
What is refused is named, and all else is answered. Also runs on the phone.
"""

import msgspec

from server.engine.constants import CONSTANTS_VERSION
from server.engine.door import ENGINE_VERSION
from server.engine.rounding import millivolts, plain
from server.engine.shorts_line import read_line
from server.engine.shorts_plane import read_plane
from server.engine.shorts_points import beyond_end, nonsense, standing_points
from server.engine.shorts_rails import rail_of, rails_beside
from server.engine.shorts_supply import refused_setting, supply_limits, waits_for
from server.engine.wording_shorts import CAUTIONS, HEAT
from shared_models.power import RailPoint
from shared_models.shorts import LinePoint, ShortRail, ShortRailQuestion

_decoder = msgspec.json.Decoder(ShortRailQuestion)
_encoder = msgspec.json.Encoder()


def short_rail(question: ShortRailQuestion) -> ShortRail:
    """Everything there is to say of one shorted rail. Raises SheetError where the board has no such rail."""
    own = rail_of(question.board, question.rail)
    beside = rails_beside(question)
    limits = supply_limits(own, beside)
    standing = standing_points(question)
    waiting = waits_for(question, beside)
    settings = refused_setting(question, limits, standing.used)
    senseless = nonsense(standing.used) + beyond_end(standing.used)
    used = [] if senseless else standing.used
    line, plane = read_line(used), read_plane(question.board, question.rail, used)
    next_place = plane.next_place if plane.fit else plane.next_place or line.next_place
    return ShortRail(
        engine_version=ENGINE_VERSION,
        constants_version=CONSTANTS_VERSION,
        rail=question.rail,
        beside=tuple(beside),
        supply=limits,
        may_inject=not waiting and not settings,
        waits_for=waiting,
        heat=HEAT,
        cautions=CAUTIONS,
        refusals=(*settings, *senseless, *line.refusals, *plane.refusals),
        set_aside=tuple(_aside(one, why) for one, why in standing.aside),
        line=line.fit,
        plane=plane.fit,
        next_place=None if senseless else next_place,
    )


def _aside(point: RailPoint, why: str) -> LinePoint:
    return LinePoint(
        point_id=point.id,
        place=point.place,
        along_squares=plain(point.along_squares or 0.0),
        mv=millivolts(point.mv),
        set_aside=why,
    )


def short_rail_json(question_json: bytes) -> bytes:
    """A ShortRailQuestion as JSON -> the ShortRail as JSON. Raises msgspec's errors with a path, or SheetError."""
    return _encoder.encode(short_rail(_decoder.decode(question_json)))
