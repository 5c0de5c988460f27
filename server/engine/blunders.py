"""What a whole sheet says of one's own mistakes: the meter is not what was told, voltage is left on the board.

Both are told of the sheet and not of a contact, and are as likely beside any fault as without one.
"""

import math

from server.engine.accept import Facts
from server.engine.constants.answers import (
    BATTERY_IN_IF_POWERED,
    BATTERY_IN_OTHERWISE,
    BELOW_ZERO_IF_POWERED,
    BELOW_ZERO_OTHERWISE,
    RESIDUE_IF_POWERED,
    RESIDUE_OTHERWISE,
)
from server.engine.numbering import Counting
from server.engine.prepared import Prepared
from server.engine.stories.kinds import Story
from shared_models.job import MakeSafeProof, Observation
from shared_models.reading import Reading
from shared_models.sheet import BenchSheet
from shared_models.tables import HONEST_READING_LIMIT_MV


def last_read(prepared: Prepared, facts: Facts, counting: Counting) -> dict[int, int]:
    """Contact as drawn -> when it was touched last, ms."""
    latest: dict[int, int] = {}
    for touched in facts.sweep:
        written = prepared.board.places[getattr(touched.reading.touch, "contact", "")]
        contact = written if touched.reading.numbered_as_drawn else counting.best.to_drawn[written]
        latest[contact] = max(latest.get(contact, 0), touched.reading.taken_at_ms)
    return latest


def blunder_factors(
    stories: list[Story], sheet: BenchSheet, facts: Facts, observations: tuple[Observation, ...], wrongly: float
) -> list[list[float]]:
    """A row of log factors, one a story, for each thing the whole sheet says. `wrongly`: `meters.told_wrongly`."""
    rows = []
    told = {"meter_differs": [wrongly], "still_powered": _powered(sheet, facts, observations)}
    for kind in sorted(told):
        rows.extend([factor if story.kind == kind else 0.0 for story in stories] for factor in told[kind] if factor)
    return rows


def below_zero(sheet: BenchSheet, facts: Facts) -> list[Reading]:
    """Readings below zero that no proof since has answered: one of a few millivolts at a measured place."""
    dead = [
        proof.proved_at_ms
        for proof in sheet.make_safe
        if proof.id not in sheet.removed_ids
        and proof.measured_mv is not None
        and abs(proof.measured_mv) <= HONEST_READING_LIMIT_MV
    ]
    return [reading for reading in facts.below_zero if reading.taken_at_ms > max(dead, default=0)]


def _powered(sheet: BenchSheet, facts: Facts, observations: tuple[Observation, ...]) -> list[float]:
    """Numbers below zero, the newest proofs of making safe, and a battery noted as connected."""
    factors = []
    if below_zero(sheet, facts) or any(one.seen == "reads_below_zero" for one in observations):
        factors.append(math.log(BELOW_ZERO_IF_POWERED / BELOW_ZERO_OTHERWISE))
    if any("battery_connected" in touched.reading.conditions for touched in facts.sweep):
        factors.append(math.log(BATTERY_IN_IF_POWERED / BATTERY_IN_OTHERWISE))
    newest: dict[str, MakeSafeProof] = {}
    for proof in sorted(sheet.make_safe, key=lambda one: (one.proved_at_ms, one.id)):
        if proof.id not in sheet.removed_ids and proof.measured_mv is not None:
            newest[proof.step] = proof
    measured = [abs(newest[step].measured_mv or 0.0) for step in sorted(newest)]
    if measured:
        left = max(measured) > HONEST_READING_LIMIT_MV
        likely, usual = RESIDUE_IF_POWERED, RESIDUE_OTHERWISE
        factors.append(math.log(likely / usual if left else (1 - likely) / (1 - usual)))
    return factors
