"""The posterior as an account: stories with their odds, groups and second stories, and the decisions.

Odds of the stories shown add up to one: each pair of stories is led by one of them, the other is named as its second.
The one leads that is by far the surer of the two, all pairs counted that it belongs to: a bridge that was measured,
whatever else may be wrong. Of two about as sure, an event before a part, else the likelier a priori.
"""

import math

from server.engine import wording
from server.engine.constants.answers import SPEAKS_FOR
from server.engine.constants.next_touch import (
    GROUP_FACTOR,
    GROUP_SHARE,
    ODD_MIN,
    SECONDS_NAMED,
    STORIES_SHOWN,
    STORY_FLOOR,
)
from server.engine.evidence import log_factor
from server.engine.inference import Judged
from server.engine.numbering import AS_DRAWN
from server.engine.rounding import probability
from server.engine.stories.kinds import Story as Told
from server.engine.verdicts import ContactState
from server.engine.wording_findings import found, leaves_open
from shared_models.opinion import Decision, DecisionKind, Numbering, Reason, Story

BEHIND_THE_SPRING = ("tail_normal", "pad_normal")
EVENTS = ("plug_off_by", "plugged_live", "plug_tilted", "tool_slip")


def stories_of(judged: Judged, states: list[ContactState]) -> tuple[Story, ...]:
    """The stories worth showing, most probable first; a different way of counting stands among them."""
    odds, seconds = _led_odds(judged)
    ranked = sorted(
        (place for place in odds if odds[place] >= STORY_FLOOR), key=lambda place: (-probability(odds[place]), place)
    )[:STORIES_SHOWN]
    groups = _groups(judged, ranked, odds)
    told = [_story(judged, states, place, odds[place], seconds.get(place, {}), groups[place]) for place in ranked]
    counted = _counted_differently(judged, groups[ranked[0]] if ranked else 0)
    return tuple(sorted([*told, *counted], key=lambda one: (-one.odds, one.kind, one.subject)))


def _led_odds(judged: Judged) -> tuple[dict[int, float], dict[int, dict[int, float]]]:
    """Odds of each story as the leading one, and for each the odds of its second stories."""
    stories = judged.prepared.stories
    odds = {place: judged.post[place] for place in range(len(stories))}
    seconds: dict[int, dict[int, float]] = {}
    in_all = _in_all(judged)
    for weight, (first, second) in zip(judged.post[len(stories) :], judged.pairs, strict=True):
        surer = max(in_all[first], in_all[second])
        lead, other = sorted(
            (first, second),
            key=lambda place: (
                # what is wrong with the board is told first, how it was measured or what hangs on it beside it
                stories[place].kind in ("meter_differs", "elsewhere"),
                in_all[place] * GROUP_FACTOR < surer,
                stories[place].kind not in EVENTS,
                -stories[place].weight,
                place,
            ),
        )
        odds[lead] += weight
        beside = seconds.setdefault(lead, {})
        beside[other] = beside.get(other, 0.0) + weight
    return odds, seconds


def _in_all(judged: Judged) -> dict[int, float]:
    """How likely each story is true at all: alone, and in every pair it belongs to."""
    in_all = {place: judged.post[place] for place in range(len(judged.prepared.stories))}
    for weight, pair in zip(judged.post[len(in_all) :], judged.pairs, strict=True):
        for place in pair:
            in_all[place] += weight
    return in_all


def _groups(judged: Judged, ranked: list[int], odds: dict[int, float]) -> dict[int, int]:
    """Stories whose likelihoods are within a factor of two, and which no contact still unread tells apart.

    Only those of comparable odds are put together: what hardly ever happens does not join a group
    merely because no reading speaks against it.
    """
    gained = {place: judged.scores[place] - judged.prepared.model.log_priors[place] for place in ranked}
    unread = [row is None for row in judged.log_likelihoods]
    footprints = judged.prepared.model.footprints
    open_ends = {place: [entry for entry in footprints[place] if unread[entry[0]]] for place in ranked}
    groups: dict[int, int] = {}
    leaders: list[int] = []
    for place in ranked:
        for number, leader in enumerate(leaders):
            alike = (
                abs(gained[place] - gained[leader]) <= math.log(GROUP_FACTOR) and open_ends[place] == open_ends[leader]
            )
            if alike and odds[place] >= GROUP_SHARE * odds[leader]:
                groups[place] = number
                break
        else:
            groups[place] = len(leaders)
            leaders.append(place)
    return groups


def _story(
    judged: Judged, states: list[ContactState], place: int, odds: float, beside: dict[int, float], group: int
) -> Story:
    prepared = judged.prepared
    told = prepared.stories[place]
    seconds = [one for one in sorted(beside, key=lambda one: (-beside[one], one)) if beside[one] > STORY_FLOOR * odds]
    second = prepared.stories[seconds[0]] if seconds else None
    second_odds = beside[seconds[0]] / odds if seconds else 0.0
    odd = [state.contact for state in states if (state.contact, "red") in judged.seen and state.odds[0] < ODD_MIN]
    explained = [contact for contact in odd if _explains(judged, told, contact)]
    left = [contact for contact in odd if contact not in explained]
    return Story(
        kind=told.kind,
        subject=told.subject,
        title=wording.story_title(told, prepared.scene),
        odds=probability(odds),
        group=group,
        explains=_numbers(judged, explained),
        leaves_open=_numbers(judged, left),
        second=f"{second.kind} {second.subject}".strip() if second is not None else None,
        second_title=wording.story_title(second, prepared.scene) if second is not None else None,
        second_odds=probability(second_odds) if second is not None else 0.0,
        reasons=tuple(_reasons(judged, told, explained, left, [prepared.stories[one] for one in seconds])),
    )


def _numbers(judged: Judged, contacts: list[int]) -> tuple[str, ...]:
    return tuple(judged.prepared.board.contacts[contact].number for contact in contacts)


def _explains(judged: Judged, told: Told, contact: int) -> bool:
    """Whether a story speaks of this contact, or of the net it belongs to."""
    net = judged.prepared.net_variable[contact]
    return contact in told.footprint or any(other in told.footprint for other in judged.prepared.members[net])


def _reasons(judged: Judged, told: Told, explained: list[int], left: list[int], seconds: list[Told]) -> list[Reason]:
    """`seconds`: what may be true beside it, likeliest first."""
    said = []
    if told.kind in ("nothing_wrong", "elsewhere") and not explained and not left:
        said.append(Reason(code="nothing_odd", sentence="No contact that was read is odd."))
    if explained:
        names = _numbers(judged, explained)
        said.append(Reason(code="explains", sentence=f"Explains {', '.join(names)}.", contacts=names))
    if told.kind == "plug_off_by" and told.hit:
        names = _numbers(judged, list(told.hit))
        said.append(
            Reason(
                code="met_voltage",
                sentence=f"Sitting so, the module's joined lines put a live rail onto {', '.join(names)}.",
                contacts=names,
            )
        )
    said.extend(_found(judged, told))
    if left:
        names = _numbers(judged, left)
        titles = [wording.story_title(one, judged.prepared.scene) for one in seconds[:SECONDS_NAMED]]
        said.append(Reason(code="leaves_open", sentence=leaves_open(names, titles), contacts=names))
    return said


def _found(judged: Judged, told: Told) -> list[Reason]:
    """What was found at other places and speaks for this story."""
    board = judged.prepared.board
    numbers = [board.contacts[index].number for index in told.contacts]
    return [
        found(finding)
        for finding in judged.findings
        if log_factor(told, board, finding) > math.log(SPEAKS_FOR)
        # a line that is whole behind its spring is what every other story of that contact denies
        or (finding.code in BEHIND_THE_SPRING and finding.was_so and told.kind == "contact_torn"
            and finding.where in numbers)
    ]


def _counted_differently(judged: Judged, group: int) -> list[Story]:
    """A way of counting is true beside whatever happened: it shares the leading story's group."""
    told = []
    for weight, order in judged.counting.orders:
        if order.name != AS_DRAWN and weight >= ODD_MIN:
            told.append(
                Story(
                    kind="counted_differently",
                    subject=order.name,
                    title=wording.ORDER_SENTENCES[order.name].rstrip("."),
                    odds=probability(weight),
                    group=group,
                    reasons=(
                        Reason(
                            code="turned",
                            sentence=(
                                "Turned, the readings fit healthy boards; as written they do not. Both numbers "
                                "are kept."
                            ),
                        ),
                    ),
                )
            )
    return told


def numbering_of(judged: Judged) -> Numbering:
    """The most probable way of counting, with its anchors."""
    order = judged.counting.best
    weight = next(weight for weight, one in judged.counting.orders if one is order)
    anchors = tuple(judged.prepared.board.contacts[anchor].number for anchor in judged.counting.anchors)
    sentence = wording.ORDER_SENTENCES[order.name]
    if len(judged.counting.orders) > 1 and not anchors:
        sentence = "No contact tells which way you count: this socket reads the same turned round."
    elif len(judged.counting.orders) > 1 and not judged.facts.sweep:
        sentence = f"Touch {', '.join(anchors)} first: they tell which way you count."
    return Numbering(
        order=order.name,
        sentence=sentence,
        probability=probability(weight),
        anchors=anchors,
        settled=judged.counting.settled,
    )


def decisions_of(judged: Judged) -> tuple[Decision, ...]:
    """What would be done, by the odds of the stories that call for it; a pair of stories counts for both."""
    stories = judged.prepared.stories
    odds: dict[tuple[DecisionKind, str], float] = {}
    risky: dict[tuple[DecisionKind, str], bool] = {}
    for story, weight in zip(stories, judged.post, strict=False):
        odds[story.decision] = odds.get(story.decision, 0.0) + weight
        if weight >= STORY_FLOOR:
            risky[story.decision] = risky.get(story.decision, False) or story.data_at_risk
    for weight, (first, second) in zip(judged.post[len(stories) :], judged.pairs, strict=True):
        together = stories[first], stories[second]
        for key in dict.fromkeys([story.decision for story in together]):
            odds[key] = odds.get(key, 0.0) + weight
        if weight >= STORY_FLOOR:
            for story in together:
                risky[story.decision] = risky.get(story.decision, False) or story.data_at_risk
    kept = sorted((key for key in odds if odds[key] >= STORY_FLOOR), key=lambda key: (-probability(odds[key]), key))[
        :STORIES_SHOWN
    ]
    return tuple(_decision(key, odds[key], risky.get(key, False)) for key in kept)


def _decision(key: tuple[DecisionKind, str], odds: float, risky: bool) -> Decision:
    return Decision(
        kind=key[0],
        subject=key[1],
        odds=probability(odds),
        data_at_risk=risky,
        sentence=wording.decision_sentence(key[0], key[1]),
    )
