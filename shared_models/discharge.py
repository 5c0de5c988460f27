"""How charge leaves a capacitor: the question, and the answer in volts, energy and time.

A forecast only helps to wait; whether a place is safe is what the meter shows there. The question
carries plain numbers without bounds: the engine refuses impossible ones by name and with an example.
"""

from typing import Literal

from shared_models.base import Model

LimitKind = Literal["plugging", "honest_reading", "body"]


class LaterMeasurement(Model, frozen=True, kw_only=True):
    """What the meter showed at the same place `after_s` seconds after the start."""

    after_s: float
    measured_mv: float


class DischargeQuestion(Model, frozen=True, kw_only=True):
    """A capacitor at `start_mv`, what drains it, and where it is measured; what is not known stays out.

    `bleed_ohm` is everything that drains it for good (divider, bleeder). `led_count` LEDs in series across it
    drain it only down to their own threshold. `later` is a second measurement at the same place: it tells more
    than the parts, and the answer then counts from it.
    `places` name where to prove: the main rail first, then this capacitor.
    """

    start_mv: float
    capacitance_uf: float | None = None
    bleed_ohm: float | None = None
    led_count: int | None = None
    later: LaterMeasurement | None = None
    places: tuple[str, ...] = ()


class CurvePoint(Model, frozen=True, kw_only=True):
    """Where the voltage stands `after_s` seconds after the last number, and the energy left, if known."""

    after_s: float
    volts_mv: float
    energy_mj: float | None = None


class LimitTime(Model, frozen=True, kw_only=True):
    """When a limit is reached, counted from the last number: 0 if it is, None if nothing known leads there."""

    limit: LimitKind
    limit_mv: float
    after_s: float | None
    words: str
    origin: str


class LedString(Model, frozen=True, kw_only=True):
    """Where a string of LEDs stops draining: between `stops_low_mv` and `stops_high_mv`."""

    led_count: int
    stops_low_mv: float
    stops_high_mv: float
    above: bool


class Discharge(Model, frozen=True, kw_only=True):
    """The answer. `sentences` say it in words, the rule that the meter decides last.

    `tau_s` is the time constant, `told_by` what it rests on: the parts, two measurements, or nothing.
    `start_mv` is the last number measured. `ended`: it is at or under the plugging limit. `still_fed`: the
    voltage does not fall.
    """

    start_mv: float
    ended: bool
    still_fed: bool
    told_by: Literal["parts", "measured", "nothing"]
    limits: tuple[LimitTime, ...]
    sentences: tuple[str, ...]
    tau_s: float | None = None
    start_energy_mj: float | None = None
    first_power_mw: float | None = None
    string: LedString | None = None
    curve: tuple[CurvePoint, ...] = ()
    prove_at: tuple[str, ...] = ()
