"""A contact's opinion as it is told: the verdict, its band, and the numbers it rests on in sentences."""

import math

from server.engine import wording
from server.engine.bands import Healthy
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import COVERAGE
from server.engine.constants.sessions import CURRENT_SD_KNOWN, SOLVED_IN_OHMS
from server.engine.faulted import View, leak_ohm
from server.engine.in_ohms import low_in_ohms, pair_in_ohms, plainly_in_ohms, smallest_leak_missed, would_not_show_at
from server.engine.inference import Judged, Seen
from server.engine.joined_lines import joined_line
from server.engine.rail_bands import shown_band
from server.engine.roles import SIGNAL_ROLES, blocked
from server.engine.rounding import millivolts, plain, probability
from server.engine.student import StudentT
from server.engine.verdicts import ContactState, sheet_blunder
from shared_models.opinion import Band, ContactOpinion, OutcomeOdds, Reason


def contact_opinions(judged: Judged, states: list[ContactState]) -> tuple[ContactOpinion, ...]:
    """Every contact's opinion, in the order they lie."""
    lows = sorted((state.odds[0], state.contact) for state in states if state.verdict in ("low", "short"))
    solved = [contact for _, contact in lows[:SOLVED_IN_OHMS]]
    expected = [state.contact for state in states if state.verdict == "expected"]
    return tuple(_opinion(judged, state, state.contact in solved, expected) for state in states)


def _opinion(judged: Judged, state: ContactState, solved: bool, expected: list[int]) -> ContactOpinion:
    """One contact's opinion; `solved`: its number is turned into ohms by the circuit behind it. `expected`: the
    contacts that are judged healthy.
    """
    board = judged.prepared.board
    one = board.contacts[state.contact]
    key = (state.contact, "red")
    seen = judged.seen.get(key)
    view, band = shown_band(
        judged.prepared, judged.seen, judged.views, judged.bands, judged.leaders, state.contact, expected
    )
    drop_mv = seen.drop_mv if seen is not None else None
    off = None if drop_mv is None or view.ol_odds > 0.5 else drop_mv - view.loc
    return ContactOpinion(
        contact=one.number,
        verdict=state.verdict,
        odds=OutcomeOdds(
            expected=probability(state.odds.expected), short=probability(state.odds.short),
            low=probability(state.odds.low), high=probability(state.odds.high), open=probability(state.odds.open),
        ),
        band=band_of(view, band),
        drop_mv=None if drop_mv is None else millivolts(drop_mv),
        reads_ol=seen is not None and seen.drop_mv is None,
        off_by_mv=None if off is None else millivolts(off),
        off_by_sd=None if off is None else plain(off / view.scale),
        touches=seen.touches if seen is not None else 0,
        touch_again=state.touch_again,
        written_as=seen.written if seen is not None and seen.written != one.number else None,
        reading_ids=seen.reading_ids if seen is not None else (),
        reasons=tuple(_reasons(judged, state, seen, view, band, solved)),
    )


def band_of(view: View, band: Healthy) -> Band:
    """The band as it is shown: the 95 % limits of the next healthy one's number, or that it shows OL."""
    if view.ol_odds > 0.5:
        return Band(rests_on=wording.rests_on(band), reference_boards=band.boards, reads_ol=True)
    low, high = StudentT(view.df, view.loc, view.scale).limits(COVERAGE)
    return Band(
        rests_on=wording.rests_on(band),
        reference_boards=band.boards,
        siblings=band.siblings,
        centre_mv=millivolts(view.loc),
        low_mv=millivolts(low),
        high_mv=millivolts(high),
        carried_by_mv=millivolts(view.loc - band.loc + band.carried_mv),
        set_aside_boards=band.odd_boards,
    )


def _reasons(
    judged: Judged, state: ContactState, seen: Seen | None, view: View, band: Healthy, solved: bool
) -> list[Reason]:
    """The numbers a verdict rests on, in sentences."""
    one = judged.prepared.board.contacts[state.contact]
    if seen is None:
        if one.number in judged.facts.out_of_reach:
            return [wording.reason("out_of_reach", contacts=(one.number,))]
        return []
    told: list[Reason] = []
    blunder = sheet_blunder(judged) if state.verdict == "unread" else None
    if blunder is not None:
        return [wording.reason(blunder, contacts=(one.number,))]
    if seen.rival is not None:
        told.append(wording.two_touches(one.number, seen.drop_mv, seen.rival[0]))
    if state.verdict == "unseen":
        told.append(wording.unseen(one.number, one.role, blocked(one)))
    elif seen.drop_mv is None:
        told.append(wording.over_range(one.number, seen.agreeing, view.loc))
    else:
        told.append(wording.against_band(one.number, seen.drop_mv, view, band))
        if state.verdict in ("low", "short") and not _black_alone_says_so(judged, state, seen.drop_mv, view):
            told.extend(_in_ohms(judged, state, seen.drop_mv, view, solved))
        elif state.verdict == "expected" and one.role in SIGNAL_ROLES:
            told.extend(_not_hidden(judged, state, seen.drop_mv, view, band))
    still = seen.steadiness == "steady" and band.climb_odds > 0.5 and seen.drop_mv is not None
    if still and state.odds[0] < 0.5 and state.verdict not in ("short", "low"):
        told.append(wording.reason("no_climb", contacts=(one.number,)))
    return [*told, *_other_lead(judged, state)]


def _black_alone_says_so(judged: Judged, state: ContactState, drop_mv: float, view: View) -> bool:
    """Whether a contact is low by its number with black on ground, the one with red being a healthy one's."""
    in_band = abs(drop_mv - view.loc) < VERDICT_Z_RETOUCH * view.scale
    return in_band and (state.contact, "red") not in judged.seconds and bool(_other_lead(judged, state))


def _other_lead(judged: Judged, state: ContactState) -> list[Reason]:
    """What the contact read with black on ground, where that is no healthy number."""
    key = (state.contact, "black")
    seen = judged.seen.get(key)
    if seen is None or key not in judged.views:
        return []
    view, number = judged.views[key], judged.prepared.board.contacts[state.contact].number
    if seen.drop_mv is None:
        return [] if view.ol_odds > 0.5 else [wording.other_lead(number, None, view.loc)]
    off = abs(seen.drop_mv - view.loc) > VERDICT_Z_RETOUCH * view.scale
    if not off or view.ol_odds > 0.5:
        return []
    return [wording.other_lead(number, seen.drop_mv, view.loc, to_rail=_not_to_ground(judged, state, seen.drop_mv))]


def _not_to_ground(judged: Judged, state: ContactState, black_mv: float) -> bool:
    """Whether a leak to ground that reads so with black on ground would have shown with red on ground, and did not."""
    key = (state.contact, "red")
    seen, view = judged.seen.get(key), judged.views[key]
    black_ohm = leak_ohm(black_mv, judged.views[state.contact, "black"])
    shows_ohm = smallest_leak_missed(view, judged.bands[key])
    if seen is None or seen.drop_mv is None or black_ohm is None or shows_ohm is None:
        return False
    return black_ohm < shows_ohm and abs(seen.drop_mv - view.loc) < VERDICT_Z_RETOUCH * view.scale


def _in_ohms(judged: Judged, state: ContactState, drop_mv: float, view: View, solved: bool) -> list[Reason]:
    """A low number in ohms, and what a second current says of it; of lines proved joined it is no line's own."""
    joined = joined_line(judged, state.contact, drop_mv)
    if joined is not None:
        return [joined]
    one = judged.prepared.board.contacts[state.contact]
    air_c = judged.at.air_c + judged.fit.common.kelvin
    current_sd = current_known_within(judged)
    told = [
        low_in_ohms(
            judged.prepared.board.version, one, drop_mv, view, _ideality_share(judged, state.contact), air_c, current_sd
        )
        if solved
        else plainly_in_ohms(one, drop_mv, view, current_sd)
    ]
    second = judged.seconds.get((state.contact, "red"))
    pair = pair_in_ohms(one, drop_mv, view, second, low=True) if second is not None else None
    return told if pair is None else [*told, pair]


def current_known_within(judged: Judged) -> float:
    """How well the test current itself is known, as a share: by the meter's sheet; without one by the fit, if other
    meters with a sheet read the healthy boards. One meter against itself tells nothing of its current.
    """
    at, used = judged.at, {meter_id for meter_id, _ in judged.prepared.known.read_with}
    if at.told or not used or at.meter_id in used:
        return at.current_sd
    sheets = [judged.meters[one].test_current_ma if one in judged.meters else None for one in sorted(used)]
    if None in sheets:
        return at.current_sd
    return math.hypot(math.sqrt(judged.fit.common.covariance[0]), CURRENT_SD_KNOWN)


def _ideality_share(judged: Judged, contact: int) -> float:
    """How well n of the line behind a contact is known, its own part and the one its chip shares, as a share."""
    path = judged.bands[contact, "red"].path
    return 0.0 if path is None else math.hypot(path.ideality_sd, path.shared_ideality_sd) / path.ideality


def _not_hidden(judged: Judged, state: ContactState, drop_mv: float, view: View, band: Healthy) -> list[Reason]:
    """At a contact read as healthy: what a leak would have to be to show, with one current or with two."""
    one = judged.prepared.board.contacts[state.contact]
    second = judged.seconds.get((state.contact, "red"))
    pair = pair_in_ohms(one, drop_mv, view, second, low=False) if second is not None else None
    alone = would_not_show_at(one, view, band)
    return [reason for reason in (pair if pair is not None else alone,) if reason is not None]
