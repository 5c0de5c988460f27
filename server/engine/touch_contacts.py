"""Candidate touches at one doubtful contact: its tail, once more, the other lead, behind its series part."""

from server.engine.candidate import EVEN, TITLES, Candidate, Hypothesis, Row, about, candidate, two, why_of
from server.engine.constants.answers import (
    BEHIND_SERIES_CHIP,
    BEHIND_SERIES_SHUNT,
    CLEAN_HELPS,
    SAME_BOTH_WAYS_JUNCTION,
    SAME_BOTH_WAYS_RESISTIVE,
    SURE,
)
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.drops import BAND, failed_touch, state_densities
from server.engine.inference import Judged, probe_at
from server.engine.likelihoods import chance_it_failed
from server.engine.roles import first_series
from server.engine.seen import Seen
from server.engine.stories.kinds import Story
from server.engine.stories.places import BEFORE_KINDS, BEHIND_KINDS
from server.engine.verdicts import ContactState
from shared_models.reading import (
    AtContact,
    AtPartEnd,
)
from shared_models.tables import ROLE_BY_ID


def _why_the_tail(number: str, seen: Seen) -> str:
    shows = "shows OL" if seen.drop_mv is None else "reads high"
    again = "Touch the spring once more, then its tail" if seen.agreeing == 1 else "Touch its tail"
    return f"{number} {shows} at the spring. {again}: a normal tail means a torn or dirty contact."


def touches_at_contact(judged: Judged, contact: int, state: ContactState, known: list[Hypothesis]) -> list[Candidate]:
    """What could be touched at or behind one contact in doubt: tail, once more, far end, other polarity."""
    one = judged.prepared.board.contacts[contact]
    seen = judged.seen[contact, "red"]
    found: list[Candidate] = []
    high = seen.drop_mv is None or state.odds.high + state.odds.open > 0.5
    if high and reads_open(judged, contact) and one.tail_reachable and not ROLE_BY_ID[one.role].is_rail:
        answers = [_tail_row(about(hypothesis, contact)) if hypothesis.stories else EVEN for hypothesis in known]
        found.append(
            candidate(
                "tail",
                TITLES["tail_normal"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                place="tail",
                reasons=(
                    why_of(
                        "tail",
                        _why_the_tail(one.number, seen),
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
            two(again if hypothesis.stories and about(hypothesis, contact) is None else SURE) for hypothesis in known
        ]
        found.append(
            candidate(
                "retouch" if contact == probe_at(judged) else "jump",
                TITLES["retouch"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                action="retouch",
                reasons=(
                    why_of(
                        "retouch",
                        f"{one.number} is out of its band on one touch; a bad touch reads like that too.",
                        one.number,
                    ),
                ),
            )
        )
    found.extend(_black_again(judged, contact, known))
    low = seen.drop_mv is not None and state.odds.short + state.odds.low > 0.5
    if low:
        found.extend(_behind_series(judged, contact, known))
        answers = [two(_same_both_ways(about(hypothesis, contact))) for hypothesis in known]
        found.append(
            candidate(
                "other_polarity",
                TITLES["other_polarity"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                action="other_polarity",
                lead="black",
                reasons=(
                    why_of(
                        "other_polarity",
                        "A resistive short reads the same both ways; a wounded junction does not.",
                        one.number,
                    ),
                ),
            )
        )
        answers = [two(_clean_helps(about(hypothesis, contact))) for hypothesis in known]
        found.append(
            candidate(
                "clean_and_read",
                TITLES["clean_and_read"].format(one.number),
                AtContact(contact=one.number),
                "drop",
                answers,
                action="clean_and_read",
                reasons=(
                    why_of(
                        "clean_and_read",
                        "Flux, water and lint read like a fault: brush, alcohol, dry, then the same touch again.",
                        one.number,
                    ),
                ),
            )
        )
    return found


def reads_open(judged: Judged, contact: int) -> bool:
    """Whether a contact was read and shows what an open line would: OL, or more than a healthy one."""
    seen, view = judged.seen.get((contact, "red")), judged.views[contact, "red"]
    return seen is not None and (seen.drop_mv is None or (view.ol_odds < 0.5 and seen.drop_mv > view.loc))


def _black_again(judged: Judged, contact: int, known: list[Hypothesis]) -> list[Candidate]:
    """Black on ground once more, where its one touch shows what no healthy contact does."""
    key = (contact, "black")
    seen = judged.seen.get(key)
    if seen is None or key not in judged.views or seen.agreeing > 1:
        return []
    view, number = judged.views[key], judged.prepared.board.contacts[contact].number
    if seen.drop_mv is None:
        odd = view.ol_odds < 0.5
    else:
        odd = view.ol_odds < 0.5 and abs(seen.drop_mv - view.loc) > VERDICT_Z_RETOUCH * view.scale
    if not odd:
        return []
    chance, missed = judged.prepared.touch_fails, failed_touch(seen.drop_mv, view)
    well = (1 - chance) * state_densities(seen.drop_mv, view)[BAND]
    failed = chance * missed / (chance * missed + well)
    again = SURE - (SURE - (1 - SURE)) * failed
    answers = [two(SURE if about(hypothesis, contact) is not None else again) for hypothesis in known]
    why = f"{number} with black on ground is out of its band on one touch; a bad touch reads like that too."
    return [
        candidate(
            "other_polarity",
            TITLES["black_again"].format(number),
            AtContact(contact=number),
            "drop",
            answers,
            action="other_polarity",
            lead="black",
            reasons=(why_of("retouch", why, number),),
        )
    ]


def _clean_helps(story: Story | None) -> float:
    """How often a contact reads healthy once it is clean."""
    return CLEAN_HELPS if story is not None and story.kind in ("leak", "wet") else 1 - SURE


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
        story = about(hypothesis, contact)
        behind = (
            0.5
            if story is None
            else BEHIND_SERIES_CHIP
            if story.kind in BEHIND_KINDS
            else 1 - SURE
            if story.kind in BEFORE_KINDS
            else BEHIND_SERIES_SHUNT
        )
        answers.append(two(behind))
    why = (
        f"{series.part} lies between {one.number} and what it leads to: lower at its far "
        "end puts the fault behind it, the same puts it before."
    )
    return [
        candidate(
            "part_end",
            TITLES["fault_behind"].format(series.part),
            AtPartEnd(part=series.part, end="far"),
            "drop",
            answers,
            place="part_far",
            reasons=(why_of("behind_series", why, one.number, part=series.part),),
        )
    ]
