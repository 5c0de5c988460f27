"""What could be touched next: every candidate with what it would answer under each story.

A candidate is a place with a question of two or three answers; `answers[h]` is the distribution of
the answer if hypothesis h (one story, or two) is true. Unread contacts are not here: their answers
are the latent model's own outcomes (`probing.py`). Lifting a part is never proposed by this form.
"""

from typing import Literal, NamedTuple

from server.engine.constants import (
    BEHIND_SERIES_CHIP,
    BEHIND_SERIES_SHUNT,
    HYPOTHESES_KEPT,
    ODD_MIN,
    OTHER_STORY,
    PLUG_RAIL_LOW_SICK,
    PLUG_RAIL_LOW_WELL,
    RESEAT_HELPS,
    RISK,
    SAME_BOTH_WAYS_JUNCTION,
    SAME_BOTH_WAYS_RESISTIVE,
    SECONDS,
    SURE,
    SUSPECTS_LOOKED_AT,
)
from server.engine.evidence import BEFORE_KINDS, BEHIND_KINDS
from server.engine.inference import Judged, probe_at
from server.engine.likelihoods import chance_it_failed
from server.engine.roles import first_series, fuse_of
from server.engine.stories.kinds import Story
from server.engine.verdicts import ContactState
from shared_models.opinion import NextTouch, Reason
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    BetweenContacts,
    LeadOnGround,
    Place,
    ReadingKind,
    Subject,
    Touch,
)
from shared_models.tables import ROLE_BY_ID

Row = tuple[float, ...]
Action = Literal["read", "retouch", "other_polarity", "reseat", "known_good_module", "clean_and_read"]


class Hypothesis(NamedTuple):
    """One or two stories taken as true together: posterior weight, the stories, the decision's number."""

    weight: float
    stories: tuple[Story, ...]
    decision: int


class Candidate(NamedTuple):
    """A touch that could be made: how it would be shown, and its answers under each hypothesis."""

    shown: NextTouch
    answers: list[Row]


def hypotheses(judged: Judged) -> list[Hypothesis]:
    """The most probable single stories and pairs, best first; last, that none of them is true.

    Without the last one a leading story would never be worth proving, however wrong the tables are.
    """
    stories = judged.prepared.stories
    decisions = judged.model.decisions
    single = len(stories)
    ranked = sorted(range(len(judged.post)), key=lambda place: (-judged.post[place], place))[:HYPOTHESES_KEPT]
    known = [
        Hypothesis(
            (1 - OTHER_STORY) * judged.post[place],
            (stories[place],) if place < single else tuple(stories[one] for one in judged.pairs[place - single]),
            decisions[place],
        )
        for place in ranked
    ]
    return [*known, Hypothesis(OTHER_STORY, (), max(decisions) + 1)]


def candidates(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Every place worth considering beside the unread contacts."""
    found: list[Candidate] = []
    for contact in _suspects(judged, states):
        found.extend(_at_contact(judged, contact, states[contact], known))
    found.extend(_bridge_checks(judged, states, known))
    found.extend(_at_parts(judged, states, known))
    found.extend(_at_module(judged, known))
    done = _done(judged)
    return [one for one in found if (one.shown.title not in done)]


def _suspects(judged: Judged, states: list[ContactState]) -> list[int]:
    """Contacts that were read and are in doubt, the most doubtful first."""
    odd = [
        state
        for state in states
        if (state.contact, "red") in judged.seen
        and (state.odds[0] < 1 - ODD_MIN * ODD_MIN * ODD_MIN or state.touch_again)
    ]
    odd.sort(key=lambda state: (state.odds[0], state.contact))
    return [state.contact for state in odd[:SUSPECTS_LOOKED_AT]]


def _done(judged: Judged) -> list[str]:
    """Titles of places that were measured already."""
    titles = []
    for finding in judged.findings:
        titles.append(TITLES.get(finding.code, "{0}").format(finding.where))
    for contact, lead in judged.seen:
        if lead == "black":
            titles.append(TITLES["other_polarity"].format(judged.prepared.board.contacts[contact].number))
    return titles


TITLES = {
    "tail_normal": "Solder tail of {0}",
    "bridged": "{0} contact to contact",
    "part_open": "Ohms across {0}",
    "fault_behind": "Far end of {0}",
    "other_polarity": "{0} with the leads the other way round",
    "plug_rail_low": "Rail ohms at the module's plug: {0}",
    "rail_low": "Ohms to ground: {0}",
    "retouch": "{0} once more",
    "reseat": "Seat the module again",
    "known_good_module": "A known-good module or cable",
}


def _odd_there(judged: Judged, states: list[ContactState], story: Story) -> bool:
    """Whether a contact the story speaks of was read and is odd: no part is measured on a mere possibility."""
    return any((contact, "red") in judged.seen and states[contact].odds[0] < ODD_MIN for contact in story.contacts)


def _about(hypothesis: Hypothesis, contact: int) -> Story | None:
    """The story of a hypothesis that speaks of this contact."""
    for story in hypothesis.stories:
        if contact in story.footprint or contact in story.contacts:
            return story
    return None


EVEN: Row = (1 / (1 + 2), 1 / (1 + 2), 1 / (1 + 2))


def _two(likely: float) -> Row:
    return (likely, 1 - likely)


def _at_contact(judged: Judged, contact: int, state: ContactState, known: list[Hypothesis]) -> list[Candidate]:
    one = judged.prepared.board.contacts[contact]
    seen = judged.seen[contact, "red"]
    found: list[Candidate] = []
    high = seen.drop_mv is None or state.odds.high + state.odds.open > 0.5
    if high and one.tail_reachable and not ROLE_BY_ID[one.role].is_rail:
        answers = [_tail_row(_about(hypothesis, contact)) if hypothesis.stories else EVEN for hypothesis in known]
        found.append(
            _candidate(
                "tail",
                TITLES["tail_normal"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                place="tail",
                reasons=(
                    _why(
                        "tail",
                        (
                            f"{one.number} shows OL at the spring. Touch the spring once more, then its tail: "
                            "a normal tail means a torn or dirty contact."
                        ),
                        one.number,
                    ),
                ),
            )
        )
    elif state.touch_again:
        # a story that is true of the contact reads the same twice, told here or not; where none is,
        # only a failed touch reads otherwise
        again = SURE - (SURE - (1 - SURE)) * _failed_if_healthy(judged, contact)
        answers = [
            _two(again if hypothesis.stories and _about(hypothesis, contact) is None else SURE) for hypothesis in known
        ]
        found.append(
            _candidate(
                "retouch" if contact == probe_at(judged) else "jump",
                TITLES["retouch"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                action="retouch",
                reasons=(
                    _why(
                        "retouch",
                        f"{one.number} is out of its band on one touch; a bad touch reads like that too.",
                        one.number,
                    ),
                ),
            )
        )
    low = seen.drop_mv is not None and state.odds.short + state.odds.low > 0.5
    if low:
        found.extend(_behind_series(judged, contact, known))
        answers = [_two(_same_both_ways(_about(hypothesis, contact))) for hypothesis in known]
        found.append(
            _candidate(
                "other_polarity",
                TITLES["other_polarity"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                action="other_polarity",
                lead="black",
                reasons=(
                    _why(
                        "other_polarity",
                        "A resistive short reads the same both ways; a wounded junction does not.",
                        one.number,
                    ),
                ),
            )
        )
    return found


def _failed_if_healthy(judged: Judged, contact: int) -> float:
    """How likely the touch failed if nothing is wrong with this contact."""
    variable = judged.prepared.net_variable[contact]
    row, fail = judged.densities[variable], judged.failing[variable]
    if row is None or fail is None:
        return 0.0
    return chance_it_failed(judged.prepared.mixtures[variable][0], row, fail)


def _tail_row(story: Story | None) -> Row:
    """(the spring reads after all, spring OL and tail normal, both OL)."""
    if story is None:
        return (SURE, (1 - SURE) * 0.5, (1 - SURE) * 0.5)
    if story.kind == "contact_torn":
        return ((1 - SURE) * 0.5, SURE, (1 - SURE) * 0.5)
    return ((1 - SURE) * 0.5, (1 - SURE) * 0.5, SURE)


def _same_both_ways(story: Story | None) -> float:
    if story is None:
        return 0.5
    return SAME_BOTH_WAYS_RESISTIVE if story.kind in ("shunt_short", "bridge", "leak") else SAME_BOTH_WAYS_JUNCTION


def _behind_series(judged: Judged, contact: int, known: list[Hypothesis]) -> list[Candidate]:
    one = judged.prepared.board.contacts[contact]
    series = first_series(one)
    if series is None or series.is_fuse:
        return []
    answers = []
    for hypothesis in known:
        story = _about(hypothesis, contact)
        behind = (
            0.5
            if story is None
            else BEHIND_SERIES_CHIP
            if story.kind in BEHIND_KINDS
            else 1 - SURE
            if story.kind in BEFORE_KINDS
            else BEHIND_SERIES_SHUNT
        )
        answers.append(_two(behind))
    why = (
        f"{series.part} lies between {one.number} and what it leads to: lower at its far "
        "end puts the fault behind it, the same puts it before."
    )
    return [
        _candidate(
            "part_end",
            TITLES["fault_behind"].format(series.part),
            AtPartEnd(part=series.part, end="far"),
            "drop",
            answers,
            place="part_far",
            reasons=(_why("behind_series", why, one.number, part=series.part),),
        )
    ]


def _bridge_checks(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Contact to contact wherever a bridge is among the likely stories."""
    found = []
    board = judged.prepared.board
    asked: list[str] = []
    for hypothesis in known:
        for story in hypothesis.stories:
            if story.kind != "bridge" or story.subject in asked or not _odd_there(judged, states, story):
                continue
            asked.append(story.subject)
            a, b = (board.contacts[index].number for index in story.contacts)
            answers = [
                _two(
                    SURE
                    if any(one.kind == "bridge" and one.subject == story.subject for one in other.stories)
                    else 1 - SURE
                )
                for other in known
            ]
            why = (
                f"{a} and {b} read as two joined lines do. Under 2 ohm from one to the other is "
                "a bridge; a healthy pair reads a drop or OL."
            )
            found.append(
                _candidate(
                    "between",
                    TITLES["bridged"].format(story.subject),
                    BetweenContacts(contact_a=a, contact_b=b),
                    "ohms",
                    answers,
                    lead=None,
                    reasons=(_why("bridge", why, a, b),),
                )
            )
    return found


def _at_parts(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Across every fuse or ferrite that a likely story calls open, and rail ohms where one calls a rail shorted."""
    found = []
    board = judged.prepared.board
    asked: list[str] = []
    for hypothesis in known:
        for story in hypothesis.stories:
            if story.subject in asked or not _odd_there(judged, states, story):
                continue
            if story.kind == "series_open" and story.part is not None:
                asked.append(story.subject)
                answers = [
                    _two(
                        SURE
                        if any(one.kind == "series_open" and one.part == story.part for one in other.stories)
                        else 1 - SURE
                    )
                    for other in known
                ]
                names = " and ".join(board.contacts[index].number for index in story.contacts)
                fuse = fuse_of(board.contacts[story.contacts[0]]) == story.part
                verb = "reads" if len(story.contacts) == 1 else "read"
                beside = " (a blown fuse moves the contact by little)" if fuse else ""
                why = f"{names} {verb} as if {story.part} were open; across it, OL or over 100 ohm settles it{beside}."
                found.append(
                    _candidate(
                        "across_part",
                        TITLES["part_open"].format(story.part),
                        AcrossPart(part=story.part),
                        "ohms",
                        answers,
                        lead=None,
                        reasons=(_why("across_part", why, part=story.part),),
                    )
                )
            elif story.kind == "rail_short":
                asked.append(story.subject)
                answers = [
                    _two(
                        SURE
                        if any(one.kind == "rail_short" and one.subject == story.subject for one in other.stories)
                        else 1 - SURE
                    )
                    for other in known
                ]
                found.append(
                    _candidate(
                        "rail_ohms",
                        TITLES["rail_low"].format(story.subject),
                        AtRail(net=story.subject),
                        "ohms",
                        answers,
                        reasons=(
                            _why("rail_ohms", f"Ohms from {story.subject} to ground, leads nulled first.", part=None),
                        ),
                    )
                )
    return found


def _at_module(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    """At the module's plug first; seating or swapping only once its rail was measured and is not low."""
    found = []
    board = judged.prepared.board
    rails = [contact for contact in board.contacts if contact.role == "panel_supply"] or [
        contact for contact in board.contacts if ROLE_BY_ID[contact.role].is_rail
    ]
    elsewhere = [any(story.kind == "elsewhere" for story in hypothesis.stories) for hypothesis in known]
    measured = [finding for finding in judged.findings if finding.code == "plug_rail_low"]
    if not any(elsewhere):
        return []
    if rails and not measured:
        net = rails[0].net or rails[0].number
        answers = [_two(PLUG_RAIL_LOW_SICK if there else PLUG_RAIL_LOW_WELL) for there in elsewhere]
        why = (
            f"The board's contacts say nothing against it. Unplug the module and measure {net} "
            "to ground at its plug: a few ohms is a sick module, and it must not go in again."
        )
        return [
            _candidate(
                "plug_ohms",
                TITLES["plug_rail_low"].format(net),
                AtRail(net=net),
                "ohms",
                answers,
                subject="module_plug",
                reasons=(_why("plug_ohms", why),),
            )
        ]
    if any(finding.was_so for finding in measured):
        return []
    for action, helps, why in (
        ("reseat", RESEAT_HELPS, "Seating costs a minute; only with every rail proved."),
        ("known_good_module", SURE, "A known-good module or cable settles it; only with every rail proved."),
    ):
        answers = [_two(helps if there else 1 - SURE) for there in elsewhere]
        found.append(
            _candidate(
                action,
                TITLES[action],
                AtRail(net="module"),
                "volts",
                answers,
                action="reseat" if action == "reseat" else "known_good_module",
                subject="module_plug",
                lead=None,
                reasons=(_why(action, why),),
            )
        )
    return found


def _why(code: str, sentence: str, *contacts: str, part: str | None = None) -> Reason:
    return Reason(code=code, sentence=sentence, contacts=contacts, parts=(part,) if part else ())


def _candidate(
    cost: str,
    title: str,
    touch: Touch,
    kind: ReadingKind,
    answers: list[Row],
    *,
    place: Place = "spring",
    subject: Subject = "board_socket",
    lead: LeadOnGround | None = "red",
    action: Action = "read",
    reasons: tuple[Reason, ...] = (),
) -> Candidate:
    shown = NextTouch(
        touch=touch,
        kind=kind,
        title=title,
        gain_bits=0.0,
        seconds=SECONDS[cost],
        risk=RISK[cost],
        subject=subject,
        place=place,
        lead_on_ground=lead,
        action=action,
        reasons=reasons,
    )
    return Candidate(shown, answers)
