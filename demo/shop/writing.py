"""Readings, proofs and observations written short: a `Pen` knows whose they are, the meter and the clock.

A pen gives every record the next id of its own prefix and moves its clock on by what such a touch
takes, so that the same calls always write the same records.
"""

from collections.abc import Mapping
from typing import Any

from shared_models.job import MakeSafeProof, Observation
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    BetweenContacts,
    DisplayUnit,
    LeadOnGround,
    Of,
    OfJob,
    OfReferenceBoard,
    Reading,
    ReadingKind,
    Steadiness,
    Touch,
)

SECONDS_A_TOUCH = 6
WAITED_S = 1.5  # where the steadiness was noted, the probe was held for that long


class Pen:
    """Writes the records of one job or one reference board, in the order the technician made them."""

    def __init__(
        self, prefix: str, of: Of, *, socket: str, meter_id: str, start_ms: int, by: str, air_c: float | None = None,
    ) -> None:
        self.prefix = prefix
        self.of = of
        self.socket = socket
        self.meter_id = meter_id
        self.air_c = air_c
        self.by = by
        self.now_ms = start_ms
        self._count = 0

    def _next(self, kind: str) -> tuple[str, int]:
        self._count += 1
        self.now_ms += SECONDS_A_TOUCH * 1000
        return f"{self.prefix}-{kind}{self._count:03d}", self.now_ms

    def reading(self, touch: Touch, as_typed: str, kind: ReadingKind, unit: DisplayUnit, **more: Any) -> Reading:
        """Any reading. `more` are further fields of `Reading`."""
        reading_id, at_ms = self._next("r")
        if isinstance(self.of, OfReferenceBoard):
            more.setdefault("stage", "on_healthy_board")
        return Reading(
            id=reading_id, of=self.of, socket=self.socket, kind=kind, touch=touch, as_typed=as_typed,
            display_unit=unit, meter_id=self.meter_id, air_c=self.air_c, taken_at_ms=at_ms, taken_by=self.by, **more,
        )

    def drop(
        self, contact: int | str, as_typed: str, *, steadiness: Steadiness | None = None,
        lead: LeadOnGround = "red", **more: Any,
    ) -> Reading:
        """One contact in diode mode, in mV or OL."""
        return self.reading(
            AtContact(contact=str(contact)), as_typed, "drop", "mV", steadiness=steadiness, lead_on_ground=lead, **more,
        )

    def sweep(
        self, typed: Mapping[str, str], steadiness: Mapping[str, Steadiness], **more: Any,
    ) -> tuple[Reading, ...]:
        """Contact after contact, `contact -> what was typed`, with the steadiness where it was noted."""
        readings: list[Reading] = []
        for number, text in typed.items():
            noted = steadiness.get(number)
            waited = None if noted is None else WAITED_S
            readings.append(self.drop(number, text, steadiness=noted, taken_after_s=waited, **more))
        return tuple(readings)

    def across(self, part: str, as_typed: str) -> Reading:
        """Ohms across a part, a probe on each end."""
        return self.reading(AcrossPart(part=part), as_typed, "ohms", "ohm", lead_on_ground=None)

    def far_end(self, part: str, as_typed: str) -> Reading:
        """The drop at the end of a part that looks away from the socket."""
        return self.reading(AtPartEnd(part=part, end="far"), as_typed, "drop", "mV", place="part_far")

    def between(self, first: int | str, second: int | str, as_typed: str, **more: Any) -> Reading:
        """Ohms from contact to contact, nothing on ground."""
        touch = BetweenContacts(contact_a=str(first), contact_b=str(second))
        return self.reading(touch, as_typed, "ohms", "ohm", lead_on_ground=None, **more)

    def rail_ohms(self, net: str, as_typed: str, **more: Any) -> Reading:
        """Ohms of a rail to ground."""
        return self.reading(AtRail(net=net), as_typed, "ohms", "ohm", **more)

    def proof(self, step: str, **fields: Any) -> MakeSafeProof:
        """One step of making safe: `done=True`, or `measured_mv` with `at_place`, or `waived_because`."""
        if not isinstance(self.of, OfJob):
            raise TypeError("a make-safe proof belongs to a job, e.g. Pen('t10-j1', OfJob(job_id='t10-j1'), ...)")
        proof_id, at_ms = self._next("s")
        return MakeSafeProof(
            id=proof_id, job_id=self.of.job_id, step=step, proved_at_ms=at_ms, proved_by=self.by, **fields,
        )

    def made_safe(
        self, *, main_mv: float, main_at: str, led_mv: float | None = None, led_at: str = "",
    ) -> tuple[MakeSafeProof, ...]:
        """All steps done and proved: by hand, then with the meter at the main rail and the LED capacitor."""
        proofs = [self.proof(step, done=True) for step in ("cables_out", "battery_off", "strap_on", "button_held")]
        proofs.append(self.proof("main_rail_proved", measured_mv=main_mv, at_place=main_at))
        if led_mv is not None:
            proofs.append(self.proof("led_capacitor_proved", measured_mv=led_mv, at_place=led_at))
        return tuple(proofs)

    def seen(self, what: Any, **fields: Any) -> Observation:
        """Something seen, on contacts or on a part."""
        observation_id, at_ms = self._next("o")
        return Observation(id=observation_id, of=self.of, seen=what, seen_at_ms=at_ms, seen_by=self.by, **fields)
