"""Contacts nobody touched yet: what reading each would tell of the decision, and the short runs worth reading next."""

from typing import NamedTuple

from server.engine.constants.next_touch import NEXT_TOUCHES, RUN_LENGTH
from server.engine.constants.readings import FINE_PITCH_MM
from server.engine.constants.touches import TOUCHES
from server.engine.inference import Judged, probe_at
from server.engine.latent import decision_outlook
from server.engine.rounding import bits, plain, probability, rate
from server.engine.touch_sides import turning_s, where_now
from server.engine.worth import Ranked, effective_seconds
from shared_models.opinion import NextTouch, Reason
from shared_models.reading import AtContact
from shared_models.tables import ROLE_BY_ID


class Outlook(NamedTuple):
    """Of each contact worth reading: bits about the decision, and how often it would change the leading one."""

    gains: dict[int, float]
    changes: dict[int, float]


class Run(NamedTuple):
    """Unread contacts read in one go along a row: bits per second of effective cost, and what it is made of."""

    rate: float
    gain: float
    changes: float
    contacts: list[int]
    seconds: float


def outlook_of(judged: Judged) -> Outlook:
    """What every unread contact would tell; of a rail nobody read, the first contact alone."""
    unread = [contact for contact in range(len(judged.prepared.board.contacts)) if _says_something(judged, contact)]
    if not unread:
        return Outlook({}, {})
    variables = [judged.prepared.net_variable[contact] for contact in unread]
    gains, changes = decision_outlook(judged.model, judged.post, variables)
    return Outlook(dict(zip(unread, gains, strict=True)), dict(zip(unread, changes, strict=True)))


def runs_of(judged: Judged, outlook: Outlook, *, data_matters: bool) -> list[Ranked]:
    """Unread contacts as short runs along their row, the best run of each start, none of them twice."""
    here = probe_at(judged)
    sides = judged.prepared.sides
    turning = turning_s(where_now(sides, judged.facts), sides.socket)
    runs = [
        _best_run(judged, row, place, outlook, here, turning, data_matters)
        for row in judged.prepared.board.rows
        for place, contact in enumerate(row)
        if contact in outlook.gains
    ]
    runs.sort(key=lambda run: (-rate(run.rate), run.contacts))
    told: list[Ranked] = []
    taken: list[int] = []
    for run in runs:
        if len(told) == NEXT_TOUCHES:
            break
        if not any(contact in taken for contact in run.contacts):
            taken.extend(run.contacts)
            told.append(Ranked(run.rate, run.changes, _shown(judged, run)))
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
    judged: Judged, row: list[int], place: int, outlook: Outlook, here: int | None, turning: float, data_matters: bool
) -> Run:
    """The run from one contact along its row with the most information per second."""
    along = TOUCHES["next_along_fine" if judged.prepared.board.socket.pitch_mm < FINE_PITCH_MM else "next_along"]
    beside = here is not None and row[place] in judged.prepared.scene.neighbours[here]
    seconds = turning + (along.seconds if beside else TOUCHES["jump"].seconds)
    best: Run | None = None
    gain, change, run = 0.0, 0.0, []
    for contact in row[place : place + RUN_LENGTH]:
        if contact not in outlook.gains:
            break
        if run:
            seconds += along.seconds
        if ROLE_BY_ID[judged.prepared.board.contacts[contact].role].climbs:
            seconds += TOUCHES["rail_wait"].seconds
        run = [*run, contact]
        gain += outlook.gains[contact]
        change += outlook.changes[contact]
        per_second = gain / effective_seconds(seconds, along.risk * len(run), len(run), data_matters)
        if best is None or per_second > best.rate:
            best = Run(per_second, gain, min(change, 1.0), run, seconds)
    if best is None:
        raise AssertionError("a run starts at an unread contact")
    return best


def _shown(judged: Judged, run: Run) -> NextTouch:
    numbers = tuple(judged.prepared.board.contacts[contact].number for contact in run.contacts)
    first = judged.prepared.board.contacts[run.contacts[0]]
    alone = len(numbers) == 1
    title = f"{first.number} {first.name}".strip() if alone else f"{numbers[0]} to {numbers[-1]}"
    sentence = f"Of what is unread, {'it tells' if alone else 'these tell'} most about what to do, per second."
    return NextTouch(
        touch=AtContact(contact=numbers[0]),
        kind="drop",
        title=title,
        gain_bits=bits(run.gain),
        seconds=plain(run.seconds),
        risk=probability(TOUCHES["next_along"].risk * len(numbers)),
        run=numbers,
        reasons=(Reason(code="unread", sentence=sentence, contacts=numbers),),
    )
