"""The picture before the work: for every way a plug can sit wrong, who would meet what, and in which state.

What the module meets and what the board meets are two lists: a socket contact's voltage goes onto the
plug's wrong line, and reaches the board's own contacts only through lines joined inside the module, through
the module's clamps, or through a tool.
"""

from typing import Literal

from shared_models.base import ContactNumber, Id, Model
from shared_models.board import BoardVersion, ContactCorrection

PlugState = Literal["battery_off", "battery_in_off", "asleep", "lit", "just_unplugged"]
WayKind = Literal["off_by", "tilted", "turned", "skewed", "flipped", "tool_along", "tool_across"]


class OverstressQuestion(Model, frozen=True, kw_only=True):
    """The board, the socket on it, and what was corrected since."""

    board: BoardVersion
    socket: Id
    corrections: tuple[ContactCorrection, ...] = ()


class Standing(Model, frozen=True, kw_only=True):
    """One plug contact and the socket contact it stands on."""

    plug: ContactNumber
    socket: ContactNumber


class Meeting(Model, frozen=True, kw_only=True):
    """One line that meets a voltage it should not.

    `meets` "board": the socket contact; "module": the plug contact of that number. `limit_mv` is what the
    part behind it stands (`limit_known` false: the usual one of an IO line). `through` are the parts in
    between with `through_ohm` ohms in all (None: not known). `energy_mj` is what the source's capacitors
    give at once, `source_ma` what the source then goes on giving, `clamp_ma` an upper bound of the current
    into the pin's clamp where the resistance in between is known, `source_ohm` what lies before the source's own
    contact and counts in it, `lasting_ma` what is left of that bound once the capacitors are empty. `only_a_pulse`:
    a coupling capacitor lies in between. `at_risk`: the part behind holds or guards
    the owner's data. `joined_by` are the two plug contacts the module joins, when that is how it gets there.
    """

    meets: Literal["board", "module"]
    contact: ContactNumber
    name: str
    from_contact: ContactNumber
    from_name: str
    volts_mv: float
    limit_mv: float | None
    limit_known: bool
    times_limit: float | None
    over_limit: bool
    shorted_to_ground: bool
    through: tuple[Id, ...]
    through_ohm: float | None
    energy_mj: float | None
    source_ma: float | None
    clamp_ma: float | None
    into: Id | None
    at_risk: bool
    joined_by: tuple[ContactNumber, ...]
    sentence: str
    source_ohm: float | None = None
    lasting_ma: float | None = None
    only_a_pulse: bool = False


class Way(Model, frozen=True, kw_only=True):
    """One way to sit wrong. `slip` in places along the row for `off_by`; `stands` is empty for a tool.

    `tilted`: one end or one row lands first. `turned`: in the plane, the ends stand on the row across.
    `skewed`: in a single row, contacts of the far end span two.
    """

    id: str
    kind: WayKind
    words: str
    stands: tuple[Standing, ...] = ()
    slip: int = 0


class StateWords(Model, frozen=True, kw_only=True):
    """One state of the device, in words."""

    id: PlugState
    words: str


class OverstressCase(Model, frozen=True, kw_only=True):
    """Who meets what in one way and one state: over the limit first. Empty: nobody meets more than he should."""

    way: str
    state: PlugState
    meetings: tuple[Meeting, ...] = ()


class Worst(Model, frozen=True, kw_only=True):
    """One of the three worst, in words, with the case it stands in."""

    way: str
    state: PlugState
    sentence: str


class OverstressMap(Model, frozen=True, kw_only=True):
    """The whole picture of one socket. `notes` say what cannot happen here, and what is not known."""

    socket: Id
    ways: tuple[Way, ...]
    states: tuple[StateWords, ...]
    cases: tuple[OverstressCase, ...]
    worst: tuple[Worst, ...]
    notes: tuple[str, ...]
