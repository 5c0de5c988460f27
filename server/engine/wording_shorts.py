"""The sentences of a shorted rail: codes and numbers come in, prose goes out."""

from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.shorts import START_MOST_MA, START_MOST_MV

LOCAL_CODES = "Local codes and licensed practice come first."

HEAT = (
    "Heat first: it is fast and seen from above. Inject as told here, seconds at a time, output off between.",
    "Camera: look at the whole board, then nearer. A short of some 50 milliohm and more warms its own part.",
    "Alcohol film: a thin one over the parts; it dries first where it is warm.",
    "Frost: freeze spray or cold air; it melts first where it is warm.",
    "Found: note the hot part on the photo page, take the power off, let it cool. "
    "Nothing warm after three tries: millivolts.",
)

CAUTIONS = (
    "Alcohol and many freeze sprays burn: no hot air, iron or flame near a wet board, and air in the room.",
    "The film is dry before power. Frost is water: dry it off before anything is powered again.",
    "Glasses on: a shorted part can burst.",
    "Leads on with the output off, the limit set into a short first, volts from zero. The limit does not hold the "
    "supply's own output capacitor back: its charge goes in at the touch.",
    "Battery and charger off, stored charge proved gone, fingers off what is fed: it gets hot.",
    LOCAL_CODES,
)


UNNAMED_CORE = "core"
"""Stands for the processor's core where the board's record names no core rail: there is one all the same."""
THE_CORE = {UNNAMED_CORE: "the processor's core"}


def volts(mv: float) -> str:
    """Millivolts as volts, as a supply shows them."""
    return f"{round(mv / UNIT_FACTORS['V'], 2):g} V"


def amperes(ma: float) -> str:
    """Milliamperes as amperes, as a supply shows them."""
    return f"{round(ma / UNIT_FACTORS['A'], 2):g} A"


def ohms(ohm: float) -> str:
    """Ohms, in milliohms below one."""
    kilo = UNIT_FACTORS["kohm"]
    if ohm < 1:
        return f"{ohm * kilo:.0f} milliohm"
    return f"{ohm / kilo:.1f} kohm" if ohm >= kilo else f"{round(ohm, 1):g} ohm"


def beside_words(code: str, own: str, other: str, ohm: float | None, part: str | None) -> str:
    """What is known of the joint between two rails."""
    read = "" if ohm is None else ohms(ohm)
    return {
        "through_part": f"{part} lies between {own} and {other}: they count as joined.",
        "not_measured": f"{own} to {other}: ohms not measured yet. A shorted switch or chip would join them.",
        "no_core_named": (
            f"The board's record names no core rail, yet there is one: measure from {own} to the processor's core, at "
            "its coil."
        ),
        "apart": f"{own} to {other} reads {read or 'OL'}: apart.",
        "joined_or_ground": (
            f"{own} to {other} reads {read}: counts as joined. Ohms of both to ground would tell whether they only "
            "meet there."
        ),
        "cannot_tell": (
            f"{own} to {other} reads {read}, and both are so low to ground that this meter cannot tell: they count "
            "as joined."
        ),
        "through_ground": f"{own} to {other} reads {read}, no less than both to ground together: apart.",
        "joined": f"{own} to {other} reads {read}, less than both to ground together: joined.",
    }[code]


def supply_words(
    own: str, start_mv: float, start_ma: float, ceiling_mv: float, by: str, *, assumed: bool, core: bool, alone: bool
) -> tuple[str, ...]:
    """Where to begin and where to stop, with the reasons."""
    by = THE_CORE.get(by, by) if assumed else by
    if core:
        begin = (
            f"Begin at {volts(start_mv)} with the limit at {amperes(start_ma)}: a core or memory rail is fed with it, "
            "or may be."
        )
    else:
        most = min(START_MOST_MV, ceiling_mv)
        begin = (
            f"Begin at {volts(start_mv)} with the limit at {amperes(start_ma)}; up to {volts(most)} and "
            f"{amperes(START_MOST_MA)} where nothing warms."
        )
    rule = "the lowest usual of its kind, since the board's record holds no voltage" if assumed else "its own voltage"
    if alone:
        top = f"Never above {volts(ceiling_mv)}: {own} takes no more, {rule}."
    else:
        top = f"Never above {volts(ceiling_mv)}: {by} may be joined to {own} and takes no more, {rule}."
    return begin, top


def above_ceiling(set_mv: float, ceiling_mv: float, by: str, own: str) -> str:
    """A setting that is refused."""
    by = THE_CORE.get(by, by)
    why = f"{by} takes no more" if by == own else f"{by} may be joined to {own} and takes no more"
    return (
        f"{volts(set_mv)} is above the ceiling of {volts(ceiling_mv)}: {why}. Turn the supply down before its output "
        "goes on."
    )


def ohms_first(own: str, others: list[str]) -> str:
    """What stands before any injection."""
    return f"Ohms from {own} to {', '.join(THE_CORE.get(one, one) for one in others)} come before any injection."


ASK_TWICE = (
    "The data matter: say to the owner what injection can do, and ask again at the bench. A rail that is joined "
    "unseen takes the processor and the data with it."
)
