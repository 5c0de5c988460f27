"""Candidate touches between contacts, across parts, on rails, and at the module's plug."""

from server.engine.candidate import TITLES, Candidate, Hypothesis, answers_to, candidate, odd_there, two, why_of
from server.engine.constants.answers import RESEAT_HELPS, SURE
from server.engine.findings import bridge_question
from server.engine.inference import Judged
from server.engine.roles import fuse_of
from server.engine.stories.kinds import Story
from server.engine.touch_contacts import reads_open
from server.engine.verdicts import ContactState
from shared_models.reading import AcrossPart, AtRail, BetweenContacts
from shared_models.tables import ROLE_BY_ID


def suspected(judged: Judged, states: list[ContactState], known: list[Hypothesis], kind: str) -> list[Story]:
    """The likely stories of a kind, each once, of which a contact was read and is odd."""
    found: list[Story] = []
    for hypothesis in known:
        for story in hypothesis.stories:
            new = all(story.subject != one.subject for one in found)
            if story.kind == kind and new and odd_there(judged, states, story):
                found.append(story)
    return found


def bridge_checks(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Contact to contact wherever a bridge is among the likely stories."""
    found = []
    red = {contact: one.drop_mv for (contact, lead), one in judged.seen.items() if lead == "red"}
    sweep = {contact: drop_mv for contact, drop_mv in red.items() if drop_mv is not None}
    for story in suspected(judged, states, known, "bridge"):
        asked = bridge_question(judged.prepared.board, story.contacts, sweep, judged.at.current_ma)
        a, b = (judged.prepared.board.contacts[index].number for index in story.contacts)
        why = (
            f"{a} and {b} read as two joined lines do. Under 2 ohm from one to the other is "
            "a bridge; a healthy pair reads a drop or OL."
        )
        found.append(
            candidate(
                "between",
                TITLES["bridged"].format(story.subject),
                BetweenContacts(contact_a=a, contact_b=b),
                "ohms",
                answers_to(judged, known, asked, story.subject),
                lead=None,
                reasons=(why_of("bridge", why, a, b),),
            )
        )
    return found


def touches_at_parts(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Across every part that a likely story calls open, and rail ohms where one calls a rail shorted."""
    opens = suspected(judged, states, known, "series_open")
    across = [_across(judged, known, story) for story in opens if story.part and _read_as_open(judged, story)]
    rails = [_rail_ohms(judged, known, story) for story in suspected(judged, states, known, "rail_short")]
    return [*across, *rails, *_honest_rails(judged, known)]


def _read_as_open(judged: Judged, story: Story) -> list[str]:
    """The contacts of a story that show what an open part leaves."""
    return [judged.prepared.board.contacts[index].number for index in story.contacts if reads_open(judged, index)]


def _across(judged: Judged, known: list[Hypothesis], story: Story) -> Candidate:
    board, part = judged.prepared.board, story.part or ""
    read = _read_as_open(judged, story)
    names = " and ".join(read)
    fuse = fuse_of(board.contacts[story.contacts[0]]) == part
    verb = "reads" if len(read) == 1 else "read"
    beside = " (a blown fuse moves the contact by little)" if fuse else ""
    why = f"{names} {verb} as if {part} were open; across it, OL or over 100 ohm settles it{beside}."
    return candidate(
        "across_part",
        TITLES["part_open"].format(part),
        AcrossPart(part=part),
        "ohms",
        answers_to(judged, known, "part_open", part),
        lead=None,
        reasons=(why_of("across_part", why, part=part),),
    )


def _rail_ohms(judged: Judged, known: list[Hypothesis], story: Story) -> Candidate:
    healthy = judged.prepared.known.ohms.get(story.subject, [])
    beside = f" Healthy boards measured {min(healthy):.1f} to {max(healthy):.1f} ohm." if healthy else ""
    why = f"Ohms from {story.subject} to ground, leads nulled first.{beside}"
    return candidate(
        "rail_ohms",
        TITLES["rail_low"].format(story.subject),
        AtRail(net=story.subject),
        "ohms",
        answers_to(judged, known, "rail_low", story.subject),
        reasons=(why_of("rail_ohms", why, part=None),),
    )


def _honest_rails(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
    """Rails of a few ohms, that no drop can judge, where healthy boards were measured in ohms."""
    found, asked = [], []
    for hypothesis in known:
        for story in hypothesis.stories:
            silent = story.kind == "rail_short" and not story.footprint
            if silent and story.subject not in asked and story.subject in judged.prepared.known.ohms:
                asked.append(story.subject)
                found.append(_rail_ohms(judged, known, story))
    return found


def touches_at_module(judged: Judged, known: list[Hypothesis]) -> list[Candidate]:
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
        alone = all(story.kind == "elsewhere" for story in known[0].stories)
        board_says = (
            "The board's contacts say nothing against it."
            if alone
            else "The board's contacts speak for a fault of the board; the module may have brought it, or have one too."
        )
        why = (
            f"{board_says} Unplug the module and measure {net} "
            "to ground at its plug: a few ohms is a sick module, and it must not go in again."
        )
        return [
            candidate(
                "plug_ohms",
                TITLES["plug_rail_low"].format(net),
                AtRail(net=net),
                "ohms",
                answers_to(judged, known, "plug_rail_low", net),
                subject="module_plug",
                reasons=(why_of("plug_ohms", why),),
            )
        ]
    if any(finding.was_so for finding in measured):
        return []
    for action, helps, why in (
        ("reseat", RESEAT_HELPS, "Seating costs a minute; only with every rail proved."),
        ("known_good_module", SURE, "A known-good module or cable settles it; only with every rail proved."),
    ):
        answers = [two(helps if there else 1 - SURE) for there in elsewhere]
        found.append(
            candidate(
                action,
                TITLES[action],
                AtRail(net="module"),
                "volts",
                answers,
                action="reseat" if action == "reseat" else "known_good_module",
                subject="module_plug",
                lead=None,
                reasons=(why_of(action, why),),
            )
        )
    return found
