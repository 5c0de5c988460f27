"""Make-safe gate and reminders: what must be proved before readings count, and what not to do next.

The gate is the same rule as on the phone (held equal by tests/vectors/gate): the newest proof of each
step that applies must be done, measured under its limit at a named place, or waived where that is allowed.
"""

from collections.abc import Iterable

from server.engine.blunders import below_zero
from server.engine.candidate import Hypothesis
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.next_touch import STORY_FLOOR
from server.engine.findings import joined_rails
from server.engine.inference import Judged
from server.engine.roles import chip_of
from server.engine.stories.kinds import at_risk
from server.engine.touch_power import reads_low
from server.engine.wording_findings import found
from shared_models.job import MakeSafeProof
from shared_models.opinion import Reminder
from shared_models.sheet import BenchSheet
from shared_models.tables import CAUTION, HONEST_READING_LIMIT_MV, MAKE_SAFE_STEPS, MakeSafeStep


def steps_that_apply(roles: Iterable[str]) -> list[MakeSafeStep]:
    """The make-safe steps of a socket whose contacts have these roles."""
    present = frozenset(roles)
    return [step for step in MAKE_SAFE_STEPS if not step.for_roles or any(role in present for role in step.for_roles)]


def gate_waits_for(roles: Iterable[str], proofs: Iterable[MakeSafeProof]) -> tuple[str, ...]:
    """Ids of the required steps that are not proved, in the order of the table; empty means the gate is open."""
    newest: dict[str, MakeSafeProof] = {}
    for proof in sorted(proofs, key=lambda one: (one.proved_at_ms, one.id)):
        newest[proof.step] = proof
    return tuple(
        step.id for step in steps_that_apply(roles) if step.required and not _proved(step, newest.get(step.id))
    )


def _proved(step: MakeSafeStep, proof: MakeSafeProof | None) -> bool:
    if proof is None:
        return False
    if step.waivable and proof.waived_because is not None and proof.waived_because.strip():
        return True
    if step.proved_by == "hand":
        return proof.done
    return (
        proof.measured_mv is not None
        and step.limit_mv is not None
        and abs(proof.measured_mv) <= step.limit_mv
        and bool(proof.at_place.strip())
    )


def reminders_of(
    sheet: BenchSheet, judged: Judged, known: list[Hypothesis], waits_for: tuple[str, ...], *, may_power: bool = False
) -> tuple[Reminder, ...]:
    """The lines of caution that this job needs now, blocking ones first. `may_power`: the list before power stands."""
    told: list[Reminder] = []
    titles = {step.id: step for step in MAKE_SAFE_STEPS}
    if waits_for:
        names = ", ".join(titles[step].title.lower() for step in waits_for)
        told.append(
            Reminder(
                code="make_safe_first", sentence=f"Not proved safe yet: {names}. Readings open when it is.", blocks=True
            )
        )
    told.extend(_still_powered(sheet, judged))
    told.extend(_charge(sheet, judged))
    told.extend(_module(judged, known))
    if not may_power:
        told.extend(_power(sheet, judged, known))
    told.extend(
        Reminder(code="rails_joined", sentence=found(one).sentence)
        for one in joined_rails(judged.prepared.board, judged.findings)
    )
    told.append(Reminder(code="caution", sentence=CAUTION))
    # two steps can be proved at one place, and say the same of it
    return tuple(sorted(dict.fromkeys(told), key=lambda one: not one.blocks))


def _still_powered(sheet: BenchSheet, judged: Judged) -> list[Reminder]:
    """A number below zero is voltage left on the board: readings stop until it is proved gone again."""
    below = [getattr(reading.touch, "contact", "a place") for reading in below_zero(sheet, judged.facts)]
    below += [
        number
        for one in sheet.observations
        if one.seen == "reads_below_zero" and one.id not in sheet.removed_ids
        for number in one.contacts or ("a place",)
    ]
    if not below:
        return []
    where = ", ".join(sorted(set(below)))
    return [
        Reminder(
            code="still_powered",
            sentence=f"{where} read below zero: voltage is left on the board. Prove the main rail and the LED "
            "capacitor again before the next touch.",
            blocks=True,
        )
    ]


def _charge(sheet: BenchSheet, judged: Judged) -> list[Reminder]:
    """Stores of charge on this socket: where they are proved, and what a residue does to a reading."""
    told = []
    led = [contact.number for contact in judged.prepared.board.contacts if contact.role == "led_plus"]
    places = sorted(
        net.proof_at
        for net in judged.prepared.board.version.nets
        if net.stores_charge and net.rail_kind == "backlight" and net.proof_at
    )
    newest: dict[str, MakeSafeProof] = {}
    for proof in sorted(sheet.make_safe, key=lambda one: (one.proved_at_ms, one.id)):
        if proof.id not in sheet.removed_ids:
            newest[proof.step] = proof
    if led:
        where = f" at {places[0]}" if places else ""
        proof = newest.get("led_capacitor_proved")
        last = f" Last: {_volts(proof.measured_mv)}." if proof is not None and proof.measured_mv is not None else ""
        told.append(
            Reminder(
                code="led_capacitor",
                blocks=False,
                sentence=(
                    f"{', '.join(led)} hold charge after the light is off; the clock does not prove "
                    f"it. Measure{where} before plugging or unplugging: under 1 V.{last}"
                ),
            )
        )
    for step in sorted(newest):
        measured = newest[step].measured_mv
        if measured is not None and abs(measured) > HONEST_READING_LIMIT_MV and not (newest[step].waived_because or ""):
            told.append(
                Reminder(
                    code="residual",
                    sentence=(
                        f"{newest[step].at_place or 'A rail'} still held {_volts(measured)}: above 10 "
                        "mV it adds to the readings of what hangs on it."
                    ),
                )
            )
    return told


def _volts(measured_mv: float | None) -> str:
    value = measured_mv or 0.0
    return f"{value:.0f} mV" if abs(value) < UNIT_FACTORS["V"] else f"{value / UNIT_FACTORS['V']:.1f} V"


def _module(judged: Judged, known: list[Hypothesis]) -> list[Reminder]:
    """When the board's contacts are healthy the module is the suspect: it must not go in again unmeasured."""
    elsewhere = 0.0
    for hypothesis in known:
        if any(story.kind == "elsewhere" for story in hypothesis.stories):
            elsewhere += hypothesis.weight
    sick = [finding for finding in judged.findings if finding.code == "plug_rail_low" and finding.was_so]
    if sick:
        return [
            Reminder(
                code="module_not_again",
                sentence=(
                    f"The module's {sick[-1].where} reads {sick[-1].value or 0.0:.1f} ohm to ground: "
                    "do not plug this module in again."
                ),
                blocks=True,
            )
        ]
    measured = [finding for finding in judged.findings if finding.code == "plug_rail_low"]
    if elsewhere > 0.5 and not measured:
        return [
            Reminder(
                code="module_not_again",
                sentence="Do not plug this module in again before its rail is measured at the plug, unplugged.",
            )
        ]
    return []


def _power(sheet: BenchSheet, judged: Judged, known: list[Hypothesis]) -> list[Reminder]:
    """No power while a low line is unexplained, least of all where the data lie."""
    low = [contact for index, contact in enumerate(judged.prepared.board.contacts) if reads_low(judged, index)]
    lows = [contact.number for contact in low]
    if not lows:
        return []
    told = {
        story.part
        for hypothesis in known
        if hypothesis.weight > STORY_FLOOR
        for story in hypothesis.stories
        if story.data_at_risk and story.part is not None
    }
    # whatever the story is, what such a line ends in meets it
    behind = {chip for contact in low if (chip := chip_of(contact)) and at_risk(judged.prepared.scene, chip)}
    risky = sorted(told | behind)
    if risky and sheet.intake.data_matters != "no":
        return [
            Reminder(
                code="no_power_data",
                sentence=(
                    f"No power yet: {', '.join(lows)} read{'s' if len(lows) == 1 else ''} low and "
                    f"lead{'s' if len(lows) == 1 else ''} to {', '.join(risky)}, without which the "
                    "data cannot be read."
                ),
                blocks=True,
            )
        ]
    return [
        Reminder(
            code="no_power",
            sentence=f"No power while {', '.join(lows)} read{'s' if len(lows) == 1 else ''} low and nobody knows why.",
            blocks=True,
        )
    ]
