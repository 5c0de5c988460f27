"""Which touch next: information about the decision per second, with risk, and when to stop.

Seconds are locating, touching and settling from where the probe stands; short runs along a row beat
single hops. Until the counting is settled, the anchors come first: 20 seconds that save the worst
blunder. On a board that looks healthy nothing can be spared: all must be read, and it is said.
"""

import math

from server.engine.candidate import Candidate, Hypothesis
from server.engine.constants.next_touch import NEXT_TOUCHES, ODD_MIN, STOP_CHANGE_PROBABILITY, STOP_GAIN_BITS
from server.engine.constants.touches import TOUCHES
from server.engine.inference import Judged
from server.engine.latent import test_outlook
from server.engine.rounding import bits, plain, probability, rate
from server.engine.unread import Outlook, outlook_of, runs_of
from server.engine.verdicts import ContactState, odds_of_kind
from server.engine.worth import Ranked, effective_seconds
from shared_models.opinion import NextTouch, Reason, Stop
from shared_models.reading import AtContact

TIERS = ((False, False), (True, False), (False, True))
"""What waits for what, as (needs power, changes the board): gentle touches, then power, then what comes off."""


def next_touches(
    judged: Judged, states: list[ContactState], known: list[Hypothesis], places: list[Candidate], *, data_matters: bool
) -> tuple[tuple[NextTouch, ...], Stop | None]:
    """The best touches, best first, and the reason to stop if none is worth its time."""
    if odds_of_kind(judged, "leads_swapped") > ODD_MIN:
        return (), Stop(code="redo_reading", sentence="The leads seem swapped: swap them and read two contacts again.")
    volts = [one for one in places if one.cost == "volts_check"]
    if volts and odds_of_kind(judged, "still_powered") > ODD_MIN:
        # nothing else is touched before it is known: the probe itself would do the damage
        return tuple(_of_place(one, known, data_matters).shown for one in volts[:NEXT_TOUCHES]), None
    outlook = outlook_of(judged)
    unread = runs_of(judged, outlook, data_matters=data_matters)
    gentle, powered, changing = (
        [_of_place(one, known, data_matters) for one in places if _tier(one) == tier] for tier in range(len(TIERS))
    )
    ranked = sorted([*gentle, *unread], key=_best_first)
    worth_it = [one for one in ranked if _worth_its_time(one, one in unread)]
    if _may_still_change(outlook, worth_it) < STOP_CHANGE_PROBABILITY:
        worth_it = [one for one in worth_it if one.finer]
    anchors = _anchors(judged)
    again = None if worth_it else _again(judged, states)
    off: list[Ranked] = []
    if not worth_it and again is None and (not outlook.gains or _anything_odd(judged)):
        worth_it = _first_worth(powered)
        off = [] if worth_it else _first_worth(changing)
    rest = [one for one in ranked if one not in worth_it and one.shown.gain_bits > 0]
    if off:  # what still tells something without taking anything off comes before it, here too
        telling = [one for one in rest if one.shown.gain_bits >= STOP_GAIN_BITS]
        worth_it, rest = [*telling[: NEXT_TOUCHES - 1], *off], []
    shown = [one.shown for one in _with_a_run([*worth_it, *rest], unread)]
    if anchors is not None:
        return (anchors, *shown[: NEXT_TOUCHES - 1]), None
    if again is not None:
        telling = [one for one in shown if one.gain_bits >= STOP_GAIN_BITS and one.action != "retouch"]
        return (*telling[: NEXT_TOUCHES - 1], again), None
    return tuple(shown), _stop(judged, worth_it, ranked)


def _tier(one: Candidate) -> int:
    """0 for what neither needs power nor changes the board: the others wait until none of that is worth its time."""
    cost = TOUCHES[one.cost]
    return TIERS.index((cost.needs_power, cost.changes_board))


def _first_worth(later: list[Ranked]) -> list[Ranked]:
    return sorted((one for one in later if _worth_its_time(one, False)), key=_best_first)


def _best_first(one: Ranked) -> tuple[float, str]:
    return -rate(one.worth), one.shown.title


def _worth_its_time(one: Ranked, unread: bool) -> bool:
    """Whether it tells enough; one touch at another place must be able to change the decision by itself.

    Unread contacts need not: no single one of a socket that is half read changes much, all together may. Nor what
    tells more than the decision, as which part of a rail is short.
    """
    by_itself = one.changes >= STOP_CHANGE_PROBABILITY * (1 - STOP_CHANGE_PROBABILITY)
    return one.shown.gain_bits >= STOP_GAIN_BITS and (unread or by_itself or one.finer)


def _may_still_change(outlook: Outlook, others: list[Ranked]) -> float:
    """How likely the leading decision is to change before all is read: at most the sum over what is unread."""
    together = 0.0
    for contact in outlook.changes:
        together += outlook.changes[contact]
    return max([together, *(one.changes for one in others)])


def _with_a_run(ranked: list[Ranked], unread: list[Ranked]) -> list[Ranked]:
    """The best three, one of them a run while any is worth its time: the probe is in the hand."""
    best = ranked[:NEXT_TOUCHES]
    runs = [one for one in ranked if one in unread and one.shown.gain_bits >= STOP_GAIN_BITS]
    if not runs or any(one in unread for one in best):
        return best
    return [*best[: NEXT_TOUCHES - 1], runs[0]]


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
        seconds=plain(TOUCHES["jump"].seconds * len(numbers)),
        risk=probability(TOUCHES["retouch"].risk),
        run=tuple(numbers),
        action="retouch",
        reasons=(Reason(code="retouch", sentence=sentence, contacts=tuple(numbers)),),
    )


def _of_place(one: Candidate, known: list[Hypothesis], data_matters: bool) -> Ranked:
    gain, changes = test_outlook(
        [hypothesis.weight for hypothesis in known], [hypothesis.decision for hypothesis in known], one.answers
    )
    gain += one.finer_bits
    shown = _with_gain(one.shown, gain)
    worth = gain / effective_seconds(shown.seconds, shown.risk, 1, data_matters)
    return Ranked(worth, changes, shown, one.finer_bits > 0)


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
        seconds=plain(TOUCHES["jump"].seconds * len(left)),
        risk=probability(TOUCHES["jump"].risk * len(left)),
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
    if unread and not _anything_odd(judged):
        left = "1 contact is left" if len(unread) == 1 else f"{len(unread)} contacts are left"
        return Stop(
            code="all_must_be_read",
            sentence=f"Nothing is odd so far. That is no proof: all must be read; {left}.",
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
