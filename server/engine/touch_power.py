"""Candidate touches on a board under power, and those that change the board: proposed after all others.

Never at a socket's contact: volts are measured where a rail's voltage is proved, a place of its own, so that no
contact of more than 5 V lies beside the probe. Never while a line reads low and nobody knows why.
"""

from server.engine.candidate import TITLES, Candidate, Hypothesis, Row, answers_to, candidate, two, why_of
from server.engine.constants.next_touch import DEEP_LOW_SD, STORY_FLOOR
from server.engine.constants.overstress import DRAW_GIVEN, TORCH_LIGHTLESS, TORCH_OTHERWISE
from server.engine.inference import Judged
from server.engine.looked import LIGHTLESS, drawing
from server.engine.rail_places import contact_of_rail
from server.engine.stories.kinds import Story
from shared_models.reading import AtRail, AtTestPoint
from shared_models.tables import ROLE_BY_ID

DRAWS = tuple(sorted(DRAW_GIVEN))


def reads_low(judged: Judged, index: int) -> bool:
    """A contact so far below its band that no power goes on while nobody knows why."""
    seen, view = judged.seen.get((index, "red")), judged.views[index, "red"]
    if (
        seen is None
        or seen.drop_mv is None
        or view.ol_odds > 0.5
        or ROLE_BY_ID[judged.prepared.board.contacts[index].role].id == "ground"
    ):
        return False
    return seen.drop_mv < 0.5 * view.loc and view.loc - seen.drop_mv > DEEP_LOW_SD * view.scale


def touches_under_power(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    """The draw, a torch, volts where a rail is proved; none while a line reads low."""
    if any(reads_low(judged, index) for index in range(len(judged.prepared.board.contacts))):
        return []
    done = [one.seen for one in judged.observations]
    found = [] if any(one in done for one in DRAWS) else [_draw(judged, known)]
    if not any(one.startswith("torch") for one in done) and _has_light(judged):
        found.append(_torch(judged, known))
    return [*found, *_rails_made(judged, known)]


def _has_light(judged: Judged) -> bool:
    return any(contact.role in ("led_plus", "led_minus") for contact in judged.prepared.board.contacts)


def _draw(judged: Judged, known: list[Hypothesis]) -> Candidate:
    """What the supply shows: none, at its limit, low and steady, as a healthy one, or anything else."""
    why = (
        "Leads on with the output off, voltage from zero, the limit set into a short first. What it draws parts an "
        "open feed from a short and both from a board that is well."
    )
    return candidate(
        "draw",
        TITLES["draw"],
        AtRail(net="supply"),
        "draw",
        [_draw_row(judged, hypothesis) for hypothesis in known],
        lead=None,
        action="draw",
        reasons=(why_of("draw", why),),
    )


def _draw_row(judged: Judged, hypothesis: Hypothesis) -> Row:
    shown = []
    for draw in DRAWS:
        given = DRAW_GIVEN[draw]
        told = [given.get(drawing(story, judged.prepared.board), given["default"]) for story in hypothesis.stories]
        shown.append(max(told, key=lambda one: abs(one - given["default"]), default=given["default"]))
    total = 0.0
    for one in shown:
        total += one
    whole = max(total, 1.0)
    return (*(one / whole for one in shown), 1 - total / whole)


def _torch(judged: Judged, known: list[Hypothesis]) -> Candidate:
    why = "Picture there and light not: the backlight's feed, its fuse or its driver, none of the picture's lines."
    return candidate(
        "torch",
        TITLES["torch"],
        AtRail(net="module"),
        "volts",
        [_torch_row(judged, hypothesis) for hypothesis in known],
        lead=None,
        action="torch",
        reasons=(why_of("torch", why),),
    )


def _torch_row(judged: Judged, hypothesis: Hypothesis) -> Row:
    if not hypothesis.stories:
        return two(0.5)
    return two(TORCH_LIGHTLESS if any(_only_light(judged, one) for one in hypothesis.stories) else TORCH_OTHERWISE)


def _only_light(judged: Judged, story: Story) -> bool:
    lit = any(judged.prepared.board.contacts[index].role in ("led_plus", "led_minus") for index in story.contacts)
    return story.kind in LIGHTLESS and lit


def _rails_made(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    """Volts where a suspected rail's voltage is proved; a rail without such a place is left alone."""
    found: list[Candidate] = []
    for net in judged.prepared.board.version.nets:
        contact = contact_of_rail(judged.prepared.board, net.name)
        if net.proof_at is None or contact is None or not _suspected(judged, known, net.name):
            continue
        why = (
            f"Powered, {net.name} at {net.proof_at} and nowhere near a hot neighbour: not made is an open feed, a "
            "short or a switch that is off; LED+ at its input is a driver that does not boost."
        )
        found.append(
            candidate(
                "volts_test_point",
                TITLES["rail_off"].format(net.proof_at),
                AtTestPoint(name=net.proof_at),
                "volts",
                answers_to(judged, known, "rail_off", net.name),
                place="test_point",
                reasons=(why_of("rail_off", why),),
            )
        )
    return found


def _suspected(judged: Judged, known: list[Hypothesis], net: str) -> bool:
    contacts = judged.prepared.board.contacts
    weight = 0.0
    for one in known:
        feeds = [story for story in one.stories if story.kind in ("series_open", "rail_short")]
        here = any(contacts[index].net == net for story in feeds for index in story.contacts)
        weight += one.weight if here else 0.0
    return weight > STORY_FLOOR
