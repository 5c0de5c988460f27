"""Per contact: the odds of each state from the posterior over stories, and the verdict with its numbers.

A verdict comes from the stories, never from a threshold on one reading. A number out of its band is
touched again before it is believed; a single OL never makes `open`; where a healthy contact shows OL
the verdict is `unseen`, since this reading cannot show an open there.
"""

import math
from typing import NamedTuple

from server.engine.constants.answers import HONEST_LOW_OHM
from server.engine.constants.bench import MASS_COUNTS
from server.engine.constants.next_touch import ODD_MIN, VERDICT_Z_RETOUCH
from server.engine.drops import MEETS, SHORT, STATE_WORDS, UPPER
from server.engine.findings import BRIDGE_CODES
from server.engine.inference import Judged, Seen
from server.engine.latent import signature_masses
from server.engine.roles import first_series
from shared_models.opinion import Verdict


class Odds(NamedTuple):
    """The odds of each outcome at one contact; they add up to one."""

    expected: float
    short: float
    low: float
    high: float
    open: float


OUTCOMES = Odds._fields
PLACE_OF_STATE = [OUTCOMES.index(word) for word in STATE_WORDS]
ALWAYS_SO = [state < MEETS and state not in (SHORT, UPPER) for state in range(len(STATE_WORDS))]
"""Of each state whether it counts as one outcome, whatever the contact."""
VERDICT_OF: tuple[Verdict, ...] = ("expected", "short", "low", "high", "unread")
"""A number is never `open`: where open is most probable, the number came from a touch that missed, and says nothing."""


class ContactState(NamedTuple):
    """One contact as judged: the odds of each outcome, and the verdict."""

    contact: int
    odds: Odds
    verdict: Verdict
    touch_again: bool


def contact_states(judged: Judged) -> list[ContactState]:
    """The state of every contact, red on ground, in the order they lie."""
    masses = signature_masses(judged.model, judged.post)
    by_variable = [_state_odds(judged, variable, masses[variable]) for variable in range(len(masses))]
    blunder = sheet_blunder(judged)
    states = []
    for contact in range(len(judged.prepared.board.contacts)):
        own = by_variable[contact]
        net = judged.prepared.net_variable[contact]
        if net != contact:
            rail = by_variable[net]
            odd = 1 - own[0]
            own = tuple(
                own[place] * (1.0 if place else 0.0) + (1 - odd) * rail[place] for place in range(len(OUTCOMES))
            )
        unjudged = blunder is not None and _another_quantity(judged, contact, blunder)
        verdict, again = ("unread", False) if unjudged else _verdict(judged, contact, own)
        states.append(ContactState(contact, Odds(*own), verdict, again))
    return states


def _another_quantity(judged: Judged, contact: int, blunder: str) -> bool:
    """Whether a number says nothing of its contact yet: any with the leads swapped, an odd one with voltage left."""
    if judged.prepared.board.contacts[contact].role == "ground":
        return False
    seen, view = judged.seen.get((contact, "red")), judged.views[contact, "red"]
    if blunder == "leads_swapped" or seen is None or seen.drop_mv is None or view.ol_odds > 0.5:
        return blunder == "leads_swapped"
    return abs(seen.drop_mv - view.loc) > VERDICT_Z_RETOUCH * view.scale


def sheet_blunder(judged: Judged) -> str | None:
    """The mistake that makes every number of the sheet another quantity, if one is more likely than not."""
    for kind in ("leads_swapped", "still_powered"):
        if odds_of_kind(judged, kind) > ODD_MIN:
            return kind
    return None


def odds_of_kind(judged: Judged, kind: str) -> float:
    """The probability that a story of this kind is true, alone or beside another."""
    stories = judged.prepared.stories
    told = [weight for story, weight in zip(stories, judged.post, strict=False) if story.kind == kind]
    for weight, (first, second) in zip(judged.post[len(stories) :], judged.pairs, strict=True):
        if kind in (stories[first].kind, stories[second].kind):
            told.append(weight)
    return math.fsum(told)


def _state_odds(judged: Judged, variable: int, masses: list[float]) -> tuple[float, ...]:
    """Posterior odds of each outcome at one variable: over signatures, then over states within each."""
    row, fail = judged.densities[variable], judged.failing[variable]
    size = MEETS + len(judged.prepared.joins[variable])
    likely = [1.0] * size if row is None or fail is None else [(1 - fail[0]) * one + fail[0] * fail[1] for one in row]
    shares = [0.0] * size
    for mass, mixture in zip(masses, judged.prepared.mixtures[variable], strict=True):
        if mass < MASS_COUNTS:
            continue
        total = 0.0
        for state, weight in mixture:
            total += weight * likely[state]
        if total > 0:
            per_weight = mass / total
            for state, weight in mixture:
                shares[state] += per_weight * weight
    totals = [0.0] * len(OUTCOMES)
    whole = 0.0
    for state, share in enumerate(shares):
        if share:
            one = share * likely[state]
            always = state < MEETS and ALWAYS_SO[state]
            totals[PLACE_OF_STATE[state] if always else _outcome(judged, variable, state)] += one
            whole += one
    return tuple([one / whole for one in totals])


def _outcome(judged: Judged, variable: int, state: int) -> int:
    """A bridged contact keeps the verdict its number earns."""
    contact = judged.prepared.members[variable][0]
    if state == SHORT and judged.prepared.board.contacts[contact].role == "ground":
        return OUTCOMES.index("expected")  # a ground cannot be shorted to ground
    if state == UPPER:
        return OUTCOMES.index(_on_its_way_to_the_rail(judged, contact))
    if state < MEETS:
        return PLACE_OF_STATE[state]
    contact, place = judged.prepared.joins[variable][state - MEETS]
    view = judged.views[contact, "red"]
    met = view.meets[place]
    if met is None or met[0] > view.loc - view.scale:
        return OUTCOMES.index("expected") if view.ol_odds < 0.5 else OUTCOMES.index("low")
    return OUTCOMES.index("short") if met[0] < HONEST_LOW_OHM * view.current_ma else OUTCOMES.index("low")


def _on_its_way_to_the_rail(judged: Judged, contact: int) -> str:
    """How a line hurt on its way to the rail is called: by its number with black on ground, if that was read."""
    seen = judged.seen.get((contact, "black"))
    if seen is None:
        return "expected"
    return "low" if seen.drop_mv is not None and seen.drop_mv < judged.views[contact, "black"].loc else "high"


def _verdict(judged: Judged, contact: int, odds: tuple[float, ...]) -> tuple[Verdict, bool]:
    seen = judged.seen.get((contact, "red"))
    if seen is None:
        return "unread", False
    view = judged.views[contact, "red"]
    if seen.steadiness in ("jumps", "falls"):
        return "unsteady", seen.agreeing == 1
    if seen.rival is not None:
        return "unsteady", True
    if seen.drop_mv is None:
        if view.ol_odds > 0.5:
            return "unseen", False
        if not _confirmed(judged, contact, seen):
            return "unread", True
        # confirmed, and yet healthy is likelier: this meter's limit may lie below what a healthy one reads
        return ("unseen", False) if odds[0] > ODD_MIN else ("open", False)
    best = max(range(len(OUTCOMES)), key=lambda place: (odds[place], -place))
    word = VERDICT_OF[best]
    # a number where a healthy one shows OL is as far out of its band as a number can be
    out_of_band = view.ol_odds > 0.5 or abs(seen.drop_mv - view.loc) > VERDICT_Z_RETOUCH * view.scale
    again = seen.agreeing == 1 and not _confirmed(judged, contact, seen) and (word != "expected" or out_of_band)
    return word, again


def _confirmed(judged: Judged, contact: int, seen: Seen) -> bool:
    """Touched twice alike, proved at another place, or another contact of the same net says the same."""
    if seen.agreeing > 1 or _proved_elsewhere(judged, contact):
        return True
    net = judged.prepared.net_variable[contact]
    if net == contact:
        return False
    others = [
        judged.seen[other, "red"]
        for other in judged.prepared.members[net]
        if other != contact and (other, "red") in judged.seen
    ]
    if seen.drop_mv is None:
        return any(other.drop_mv is None for other in others)
    return any(
        other.drop_mv is not None
        and abs(other.drop_mv - seen.drop_mv) < VERDICT_Z_RETOUCH * judged.views[contact, "red"].scale
        for other in others
    )


def _proved_elsewhere(judged: Judged, contact: int) -> bool:
    """Whether a touch at another place already proved what this contact reads: a bridge, or a fault behind its part."""
    one = judged.prepared.board.contacts[contact]
    series = first_series(one)
    for finding in judged.findings:
        if finding.was_so and finding.code in BRIDGE_CODES and one.number in finding.where.split("-"):
            return True
        if finding.code == "fault_behind" and series is not None and finding.where == series.part:
            return True
    return False
