"""A meter's sheet made in a minute, and two meters beside each other: the questions and the answers.

What a display showed is text with its unit, as everywhere ("470", "0.470", "OL"). The questions carry
plain numbers without bounds: the engine refuses impossible ones by name and with an example.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import AirC, Model

Shown = Annotated[str, Meta(max_length=40)]
"""What the display showed, as it was typed: a number, or OL."""


ContactSaid = Annotated[str, Meta(min_length=1, max_length=80)]
"""A contact as it is named on paper; it need not be one of a socket in the record."""


class ResistorShown(Model, frozen=True, kw_only=True):
    """A known resistor across the leads in diode mode: its marking, its tolerance in per cent, the display."""

    resistor_ohm: float
    shown: Shown
    tolerance_pct: float = 1.0


class DiodeShown(Model, frozen=True, kw_only=True):
    """A silicon diode across the leads: alone, and with a resistor of `beside_ohm` in parallel."""

    shown_alone: Shown
    shown_beside: Shown
    beside_ohm: float


class MeterSheetQuestion(Model, frozen=True, kw_only=True):
    """Two or more known resistors, and what else was at hand.

    `open_shown`: the display with the leads apart; `open_measured_mv`: what another meter shows across them then.
    """

    resistors: tuple[ResistorShown, ...]
    display_unit: Literal["mV", "V"] = "mV"
    open_shown: Shown | None = None
    open_measured_mv: float | None = None
    diode: DiodeShown | None = None
    air_c: AirC | None = None


class MeterSheet(Model, frozen=True, kw_only=True):
    """What the meter does in diode mode; deviations are one standard deviation.

    `offset_mv` is zero error and leads together. The open-circuit limit lies between `open_at_least_mv` and
    `open_at_most_mv`; `open_circuit_mv` is set when one number is known: shown with the leads apart, measured
    across them, or between two resistors close on either side. `fits_sockets` false: never on a board's socket,
    `why_not` says why.
    """

    test_current_ma: float
    test_current_sd_pct: float
    offset_mv: float
    offset_sd_mv: float
    open_at_least_mv: float
    fits_sockets: bool
    sentences: tuple[str, ...]
    open_at_most_mv: float | None = None
    open_circuit_mv: float | None = None
    ideality: float | None = None
    ideality_sd: float | None = None
    why_not: str | None = None


class SameContact(Model, frozen=True, kw_only=True):
    """One healthy contact read with both meters, minutes apart."""

    contact: ContactSaid
    first_shown: Shown
    second_shown: Shown


class MeterPairQuestion(Model, frozen=True, kw_only=True):
    """The same contacts with two meters. The first meter's current is from its sheet, its deviation in per cent."""

    contacts: tuple[SameContact, ...]
    first_current_ma: float = 1.0
    first_current_sd_pct: float = 2.0
    first_unit: Literal["mV", "V"] = "mV"
    second_unit: Literal["mV", "V"] = "mV"
    air_c: AirC | None = None


class MeterPair(Model, frozen=True, kw_only=True):
    """The second meter's test current over the first's, with its 95 % interval, from `contacts_used` contacts.

    `odd_contacts` moved otherwise than the rest; they are named and hardly count. `second_current_sd_pct` is what
    goes into the second meter's sheet: one standard deviation, the first meter's own in it. `contacts_enough`:
    with so many, further contacts hardly narrow the interval.
    """

    ratio: float
    ratio_low: float
    ratio_high: float
    second_current_ma: float
    contacts_used: int
    sentences: tuple[str, ...]
    odd_contacts: tuple[ContactSaid, ...] = ()
    second_current_sd_pct: float | None = None
    contacts_enough: int | None = None
