"""A reading: a number with its unit or OL, and everything that makes it comparable.

Nothing here is derived. `as_typed` with `display_unit` is the durable truth; the engine gives the
value, or a question when the text does not say one. A correction is a new reading that names the
one it replaces in `supersedes`; a second touch of the same contact is simply another reading.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, AirC, ContactNumber, EpochMs, Id, Model, Tagged, Words

ReadingKind = Literal["drop", "ohms", "volts", "draw"]
DisplayUnit = Literal["mV", "V", "ohm", "kohm", "Mohm", "mA", "A"]
LeadOnGround = Literal["red", "black"]
Subject = Literal["board_socket", "cable_end", "module_plug"]
Place = Literal["spring", "tail", "pad", "part_near", "part_far", "test_point"]
Steadiness = Literal["steady", "climbs", "falls", "jumps"]
Stage = Literal["before_repair", "after_repair", "on_healthy_board"]
Condition = Literal[
    "module_plugged",
    "other_flexes_plugged",
    "battery_connected",
    "shield_on",
    "cleaned",
    "warm_from_hot_air",
    "wet",
    "boards_split",
    "in_chassis",
]


class OfJob(Tagged, frozen=True, kw_only=True, tag="job"):
    """The record belongs to a job."""

    job_id: Id


class OfReferenceBoard(Tagged, frozen=True, kw_only=True, tag="reference_board"):
    """The record belongs to a healthy board that was read."""

    reference_board_id: Id


Of = OfJob | OfReferenceBoard


class AtContact(Tagged, frozen=True, kw_only=True, tag="contact"):
    """One probe on a contact, the other on ground."""

    contact: ContactNumber


class BetweenContacts(Tagged, frozen=True, kw_only=True, tag="between"):
    """A probe on each of two contacts, nothing on ground."""

    contact_a: ContactNumber
    contact_b: ContactNumber


class AtTestPoint(Tagged, frozen=True, kw_only=True, tag="test_point"):
    """A named test point against ground."""

    name: str


class AtPartEnd(Tagged, frozen=True, kw_only=True, tag="part_end"):
    """One end of a part against ground; `near` is the end towards the socket."""

    part: Id
    end: Literal["near", "far"]


class AcrossPart(Tagged, frozen=True, kw_only=True, tag="across_part"):
    """A probe on each end of a part."""

    part: Id


class AtRail(Tagged, frozen=True, kw_only=True, tag="rail"):
    """A net against ground, wherever it is easiest to reach."""

    net: str


Touch = AtContact | BetweenContacts | AtTestPoint | AtPartEnd | AcrossPart | AtRail


class Drop(Tagged, frozen=True, kw_only=True, tag="drop"):
    """A diode-mode reading, in millivolts."""

    drop_mv: float


class Ohms(Tagged, frozen=True, kw_only=True, tag="ohms"):
    """A resistance, in ohms."""

    ohm: float


class Volts(Tagged, frozen=True, kw_only=True, tag="volts"):
    """A voltage, in millivolts."""

    volts_mv: float


class Draw(Tagged, frozen=True, kw_only=True, tag="draw"):
    """A supply current, in milliamperes."""

    draw_ma: float


class OverRange(Tagged, frozen=True, kw_only=True, tag="over_range"):
    """The display said OL: nothing the meter can show."""


class OutOfReach(Tagged, frozen=True, kw_only=True, tag="out_of_reach"):
    """The probe could not get there: said by the technician, so never mistaken for OL."""


Value = Drop | Ohms | Volts | Draw | OverRange | OutOfReach


class Reading(Model, frozen=True, kw_only=True):
    """One touch of one place with one meter, as it was typed.

    `lead_on_ground`: red on ground looks at the lower clamp, black on ground at the upper clamp and
    the rail's load; two different quantities, never mixed. None where nothing is on ground.
    `numbered_as_drawn`: the contact's number was pointed out on the drawing, so it holds however the
    rest of the sheet was counted. `steadiness` is None when nobody noted it. `taken_after_s`: seconds
    the reading was given to settle.
    """

    id: Id
    of: Of
    socket: Id
    kind: ReadingKind
    touch: Touch
    as_typed: Annotated[str, Meta(max_length=40)]
    display_unit: DisplayUnit
    value: Value | None = None
    lead_on_ground: LeadOnGround | None = "red"
    subject: Subject = "board_socket"
    place: Place = "spring"
    steadiness: Steadiness | None = None
    taken_after_s: Annotated[float, Meta(ge=0, le=3600)] | None = None
    meter_id: Id
    air_c: AirC | None = None
    conditions: tuple[Condition, ...] = ()
    stage: Stage = "before_repair"
    taken_at_ms: EpochMs
    taken_by: str = ""
    supersedes: Id | None = None
    numbered_as_drawn: bool = False
    note: Words = ""
    v: int = BODY_V


class Meter(Model, frozen=True, kw_only=True):
    """A meter's sheet. `test_current_ma` is what diode mode forces; None when nobody has measured it.

    `test_current_sd_pct` is how well that is known; `open_circuit_mv` is the voltage above which
    the display says OL. `display_unit` is what its display shows in diode mode.
    """

    id: Id
    name: str
    display_unit: Literal["mV", "V"] = "mV"
    test_current_ma: Annotated[float, Meta(gt=0, le=100)] | None = None
    test_current_sd_pct: Annotated[float, Meta(gt=0, le=100)] | None = None
    open_circuit_mv: Annotated[float, Meta(gt=0, le=300_000)] | None = None
    lead_ohm: Annotated[float, Meta(ge=0, le=100)] | None = None
    sheet_from: Words = ""
    v: int = BODY_V
