"""The sentences about points along a shorted rail: what makes no sense, what the line says, where to measure next."""

from collections.abc import Sequence

from server.engine.constants.next_touch import BOXES
from server.engine.constants.proof import LISTED_AT_MOST
from server.engine.constants.shorts import PLANE_STANDS_OUT
from server.engine.wording_shorts import ohms


def mv_text(mv: float) -> str:
    """Millivolts with a tenth, as a meter shows them."""
    return f"{round(mv, 1):g} mV"


def squares_text(squares: float) -> str:
    """Squares with a tenth."""
    return f"{round(squares, 1):g}"


def places(named: Sequence[tuple[str, float]]) -> str:
    """Points by their place and number."""
    shown = [f"{place or 'a point'} ({mv_text(mv)})" for place, mv in named[:LISTED_AT_MOST]]
    return ", ".join(shown) + (f" and {len(named) - LISTED_AT_MOST} more" if len(named) > LISTED_AT_MOST else "")


def refusal_words(code: str, named: Sequence[tuple[str, float]], end: float | None = None) -> str:
    """Why points are not used, and what to do."""
    who = places(named)
    return {
        "negative": (
            f"{who}: below zero. The meter's leads are the other way round, or its return stands on the fed rail. "
            "Put it right and measure again."
        ),
        "above_injected": (
            f"{who}: more than the supply gives. The number, its unit or the supply's setting is mistyped."
        ),
        "all_equal": (
            f"{who}: all the same. No current flows along here: the supply is off, or all lie beyond the short. "
            "Measure where the current goes in, and nearer to it."
        ),
        "beyond_end": (
            f"{who}: beyond the rail's end at {squares_text(end or 0.0)} squares. Count again, or move the end."
        ),
        "rises": (
            f"{who}: it rises away from the injection, which no short does. The order is turned, or the current goes "
            "in at the other end."
        ),
        "more_than_one_wrong": (
            f"{who}: more than one point fits no line that falls and is level beyond. Measure these again, probe "
            "pressed, supply steady."
        ),
        "no_line": (
            f"{who}: the points jump more than they fall. Supply steady and in its current limit? Probe pressed "
            "through the flux? The worst are named; measure them again."
        ),
        "return_carries_current": (
            f"{who}: beyond the break it does not stay level. The meter's return carries current: move it to a ground "
            "where none flows, away from the supply's lead, and measure these again."
        ),
        "falls_to_the_end": (
            f"{who}: it falls to the very end. The short is there, or the meter's return carries current: move it to a "
            "ground where none flows, and measure the last two again."
        ),
        "outside_the_copper": f"{who}: beyond the outermost pads of this rail. Check its place in millimetres.",
    }[code]


def wrong_point(mv: float, fitted_mv: float) -> str:
    """Why one point was set aside from a line."""
    return f"{mv_text(mv)} where the others make it {mv_text(fitted_mv)}: set aside, measure it again"


def line_words(
    at: float, low: float, high: float | None, between: tuple[str, str], short_ohm: float | None, noise_mv: float
) -> str:
    """What the broken line says, with its interval."""
    near, far = between
    where = f"between {near} and {far}" if near and far and near != far else f"near {near or far}"
    reach = f"{squares_text(low)} to {squares_text(high)}" if high is not None else f"{squares_text(low)} or farther"
    told = (
        f"It falls to {squares_text(at)} squares and is level beyond, so the short lies {where} (95 %: {reach}; a "
        f"point is off by {mv_text(noise_mv)})."
    )
    if high is None:
        told = (
            f"It may still fall at the last point: the short lies {squares_text(low)} squares along or farther. "
            "Measure beyond it."
        )
    if short_ohm is None:
        return told
    return f"{told} The short itself is {'about' if high is not None else 'at most about'} {ohms(short_ohm)}."


def copper_doubt(mohm_per_square: float, thinnest: float, thickest: float) -> str:
    """Squares that no foil fits."""
    return (
        f"{mohm_per_square:.2g} milliohm a square is no copper foil ({thickest:.2g} to {thinnest:.2g}): the squares "
        "are miscounted, or part of the current goes another way. The place between the points holds all the same."
    )


def next_words(squares: float, between: tuple[str, str], now: float | None, then: float | None) -> str:
    """Where to measure next along the line, and what it is worth."""
    near, far = between
    where = f", between {near} and {far}" if near and far and near != far else ""
    if not where and (near or far):
        where = f", near {near or far}"
    worth = ""
    if now is not None and then is not None:
        worth = f" The place is then known to ±{squares_text(then)}, now ±{squares_text(now)}."
    return f"Measure next at {squares_text(squares)} squares{where}.{worth}"


FIRST_NEXT = {
    "injection": "Measure first where the current goes in: 0 squares.",
    "end": "Measure next at the far end of the rail, and say that it ends there.",
    "middle": "Measure next about half way, at {} squares.",
    "more": "One more place: four tell a break with its error.",
}


def plane_words(
    spots: Sequence[tuple[str, str, float]], x: float, y: float, spread: float, *, cut: bool
) -> str:
    """What the plane says: the likeliest pads in tens, and the neighbourhood."""
    tens = [(f"{part} pin {pin}" if pin else part, odds) for part, pin, odds in spots if part]
    named = [f"{name} ({round(BOXES * odds)} in {BOXES})" for name, odds in tens if odds >= PLANE_STANDS_OUT]
    where = f"around {x:.1f}, {y:.1f} mm, give or take {spread:.1f} mm"
    pads = f": {', '.join(named)}" if named else "; no pad stands out yet"
    told = f"The short lies {where}{pads}."
    told = f"{told} Taken for one even sheet: holes and necks are not known, so look around as well."
    return f"{told} The drawing holds only the pads near the socket." if cut else told


def plane_next_words(where: str, at: str, now: float | None, then: float | None) -> str:
    """Where to measure next on a plane."""
    if not where and not at:
        return "Measure where a probe gets at this rail, far from the places measured."
    place = f"{where}, at {at} mm" if where else f"{at} mm"
    worth = f" The place is then known to ±{then:.1f} mm, now ±{now:.1f} mm." if now and then is not None else ""
    return f"Measure next at {place}.{worth}"
