"""Which touch next: information about the decision per second, with risk, and when to stop.

Seconds are locating, touching and settling from where the probe stands; short runs along a row beat
single hops. Until the counting is settled, the anchors come first: 20 seconds that save the worst
blunder. On a board that looks healthy nothing can be spared: all must be read, and it is said.
"""

import math
from typing import NamedTuple

from server.engine.candidate import Candidate, Hypothesis
from server.engine.constants import (
    FINE_PITCH_MM,
    NEXT_TOUCHES,
    ODD_MIN,
    RISK,
    RISK_WEIGHT_DATA_S,
    RISK_WEIGHT_S,
    RUN_LENGTH,
    SECONDS,
    STOP_CHANGE_PROBABILITY,
    STOP_GAIN_BITS,
)
from server.engine.inference import Judged, probe_at
from server.engine.latent import decision_outlook, test_outlook
from server.engine.rounding import bits, plain, probability, rate
from server.engine.verdicts import ContactState, odds_of_kind
from shared_models.opinion import NextTouch, Reason, Stop
from shared_models.reading import AtContact
from shared_models.tables import ROLE_BY_ID


class Run(NamedTuple):
    """Unread contacts read in one go along a row: bits per second of effective cost, and what it is made of."""

    rate: float
    gain: float
    changes: float
    contacts: list[int]
    seconds: float


class Ranked(NamedTuple):
    """A touch with its worth: bits per second of effective cost, and how often it would change the decision."""

    worth: float
    changes: float
    shown: NextTouch


def next_touches(
    judged: Judged, states: list[ContactState], known: list[Hypothesis], places: list[Candidate], *, data_matters: bool
) -> tuple[tuple[NextTouch, ...], Stop | None]:
    """The best touches, best first, and the reason to stop if none is worth its time."""
    if odds_of_kind(judged, "leads_swapped") > ODD_MIN:
        return (), Stop(code="redo_reading", sentence="The leads seem swapped: swap them and read two contacts again.")
    volts = [one for one in places if one.shown.kind == "volts" and one.shown.action == "read"]
    if volts and odds_of_kind(judged, "still_powered") > ODD_MIN:
        # nothing else is touched before it is known: the probe itself would do the damage
        return tuple(_of_place(one, known, data_matters).shown for one in volts[:NEXT_TOUCHES]), None
    ranked = [_of_place(one, known, data_matters) for one in places]
    ranked.extend(_of_unread(judged, data_matters))
    ranked.sort(key=lambda one: (-rate(one.worth), one.shown.title))
    worth_it = [
        one
        for one in ranked
        if one.shown.gain_bits >= STOP_GAIN_BITS
        and one.changes >= STOP_CHANGE_PROBABILITY * (1 - STOP_CHANGE_PROBABILITY)
    ]
    anchors = _anchors(judged)
    rest = [one for one in ranked if one not in worth_it and one.shown.gain_bits > 0]
    shown = [one.shown for one in [*worth_it, *rest][:NEXT_TOUCHES]]
    if anchors is not None:
        return (anchors, *shown[: NEXT_TOUCHES - 1]), None
    if not worth_it:
        again = _again(judged, states)
        if again is not None:
            telling = [one for one in shown if one.gain_bits >= STOP_GAIN_BITS and one.action != "retouch"]
            return (*telling[: NEXT_TOUCHES - 1], again), None
    return tuple(shown), _stop(judged, worth_it, ranked)


def _again(judged: Judged, states: list[ContactState]) -> NextTouch | None:
    """Contacts out of their band on one touch: nothing is settled before each was touched once more."""
    numbers = [judged.prepared.board.contacts[state.contact].number for state in states if state.touch_again]
    if not numbers:
        return None
    sentence = (
        "Out of the band on one touch each: not settled before a second one."
        if len(numbers) > 1
        else ("Out of the band on one touch: not settled before a second one.")
    )
    return NextTouch(
        touch=AtContact(contact=numbers[0]),
        kind="drop",
        title=f"{', '.join(numbers)} once more",
        gain_bits=0.0,
        seconds=plain(SECONDS["jump"] * len(numbers)),
        risk=probability(RISK["retouch"]),
        run=tuple(numbers),
        action="retouch",
        reasons=(Reason(code="retouch", sentence=sentence, contacts=tuple(numbers)),),
    )


def _effective_seconds(seconds: float, risk: float, data_matters: bool) -> float:
    return seconds + risk * (RISK_WEIGHT_DATA_S if data_matters else RISK_WEIGHT_S)


def _of_place(one: Candidate, known: list[Hypothesis], data_matters: bool) -> Ranked:
    gain, changes = test_outlook(
        [hypothesis.weight for hypothesis in known], [hypothesis.decision for hypothesis in known], one.answers
    )
    shown = _with_gain(one.shown, gain)
    return Ranked(gain / _effective_seconds(shown.seconds, shown.risk, data_matters), changes, shown)


def _with_gain(shown: NextTouch, gain: float) -> NextTouch:
    return NextTouch(
        touch=shown.touch,
        kind=shown.kind,
        title=shown.title,
        gain_bits=bits(gain),
        seconds=plain(shown.seconds),
        risk=probability(shown.risk),
        subject=shown.subject,
        place=shown.place,
        lead_on_ground=shown.lead_on_ground,
        run=shown.run,
        action=shown.action,
        reasons=shown.reasons,
        meter_id=shown.meter_id,
    )


def _of_unread(judged: Judged, data_matters: bool) -> list[Ranked]:
    """Unread contacts as short runs along their row, the best run of each start."""
    prepared = judged.prepared
    unread = [contact for contact in range(len(prepared.board.contacts)) if _says_something(judged, contact)]
    if not unread:
        return []
    variables = [prepared.net_variable[contact] for contact in unread]
    gains, changes = decision_outlook(judged.model, judged.post, variables)
    worth = dict(zip(unread, zip(gains, changes, strict=True), strict=True))
    here = probe_at(judged)
    runs: list[Run] = []
    for row in prepared.board.rows:
        for place, contact in enumerate(row):
            if contact in worth:
                runs.append(_best_run(judged, row, place, worth, here, data_matters))
    runs.sort(key=lambda run: (-rate(run.rate), run.contacts))
    told: list[Ranked] = []
    taken: list[int] = []
    for run in runs:
        if len(told) == NEXT_TOUCHES:
            break
        if not any(contact in taken for contact in run.contacts):
            taken.extend(run.contacts)
            told.append(Ranked(run.rate, run.changes, _shown_run(judged, run.contacts, run.gain, run.seconds)))
    return told


def _says_something(judged: Judged, contact: int) -> bool:
    """Unread, and not merely another contact of a rail that was read already."""
    if (contact, "red") in judged.seen or judged.prepared.board.contacts[contact].number in judged.facts.out_of_reach:
        return False
    net = judged.prepared.net_variable[contact]
    if net == contact:
        return True
    members = judged.prepared.members[net]
    return not any((other, "red") in judged.seen for other in members) and contact == members[0]


def _best_run(
    judged: Judged,
    row: list[int],
    place: int,
    worth: dict[int, tuple[float, float]],
    here: int | None,
    data_matters: bool,
) -> Run:
    """The run from one contact along its row with the most information per second."""
    along = (
        SECONDS["next_along_fine"] if judged.prepared.board.socket.pitch_mm < FINE_PITCH_MM else SECONDS["next_along"]
    )
    beside = here is not None and row[place] in judged.prepared.scene.neighbours[here]
    seconds = along if beside else SECONDS["jump"]
    best: Run | None = None
    gain, change, run = 0.0, 0.0, []
    for contact in row[place : place + RUN_LENGTH]:
        if contact not in worth:
            break
        if run:
            seconds += along
        if ROLE_BY_ID[judged.prepared.board.contacts[contact].role].climbs:
            seconds += SECONDS["rail_wait"]
        run = [*run, contact]
        gain += worth[contact][0]
        change = max(change, worth[contact][1])
        per_second = gain / _effective_seconds(seconds, RISK["next_along"] * len(run), data_matters)
        if best is None or per_second > best.rate:
            best = Run(per_second, gain, change, run, seconds)
    if best is None:
        raise AssertionError("a run starts at an unread contact")
    return best


def _shown_run(judged: Judged, run: list[int], gain: float, seconds: float) -> NextTouch:
    numbers = tuple(judged.prepared.board.contacts[contact].number for contact in run)
    first = judged.prepared.board.contacts[run[0]]
    title = f"{first.number} {first.name}".strip() if len(run) == 1 else f"{numbers[0]} to {numbers[-1]}"
    sentence = f"Of what is unread, {'it tells' if len(run) == 1 else 'these tell'} most about what to do, per second."
    return NextTouch(
        touch=AtContact(contact=numbers[0]),
        kind="drop",
        title=title,
        gain_bits=bits(gain),
        seconds=plain(seconds),
        risk=probability(RISK["next_along"] * len(run)),
        run=numbers,
        reasons=(Reason(code="unread", sentence=sentence, contacts=numbers),),
    )


def _anchors(judged: Judged) -> NextTouch | None:
    """The anchor contacts not read yet, while nobody knows which way the technician counts."""
    counting = judged.counting
    if counting.settled or len(counting.orders) == 1:
        return None
    board = judged.prepared.board
    written = {getattr(touched.reading.touch, "contact", "") for touched in judged.facts.sweep}
    left = [
        board.contacts[anchor].number for anchor in counting.anchors if board.contacts[anchor].number not in written
    ]
    if not left:
        return None
    return NextTouch(
        touch=AtContact(contact=left[0]),
        kind="drop",
        title=f"Anchors first: {', '.join(left)}",
        gain_bits=bits(_entropy([weight for weight, _ in counting.orders])),
        seconds=plain(SECONDS["jump"] * len(left)),
        risk=probability(RISK["jump"] * len(left)),
        run=tuple(left),
        reasons=(
            Reason(
                code="anchor",
                sentence="These tell which way you count; twenty seconds that save the worst blunder.",
                contacts=tuple(left),
            ),
        ),
    )


def _entropy(weights: list[float]) -> float:
    return -math.fsum(weight * math.log2(weight) for weight in weights if weight > 0)


def _stop(judged: Judged, worth_it: list[Ranked], ranked: list[Ranked]) -> Stop | None:
    """Why nothing more is proposed; on a board that looks healthy, what is still unread is named."""
    if worth_it:
        return None
    unread = [
        contact.number
        for index, contact in enumerate(judged.prepared.board.contacts)
        if (index, "red") not in judged.seen
    ]
    if unread and judged.post[0] >= 0 and not _anything_odd(judged):
        return Stop(
            code="all_must_be_read",
            sentence=f"Nothing is odd so far. That is no proof: all must be read; {len(unread)} contacts are left.",
        )
    if ranked:
        return Stop(
            code="not_worth_its_time",
            sentence="No further touch would change what to do first; what is listed would confirm it.",
        )
    return Stop(code="nothing_left", sentence="Everything that can be read here was read.")


def _anything_odd(judged: Judged) -> bool:
    quiet = 0.0
    for place, story in enumerate(judged.prepared.stories):
        if story.kind in ("nothing_wrong", "elsewhere"):
            quiet += judged.post[place]
    return quiet < 0.5
