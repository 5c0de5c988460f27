"""Candidate touches between contacts, across parts, on rails, and at the module's plug."""

from server.engine.candidate import TITLES, Candidate, Hypothesis, candidate, odd_there, two, why_of
from server.engine.constants import (
    PLUG_RAIL_LOW_SICK,
    PLUG_RAIL_LOW_WELL,
    RESEAT_HELPS,
    SURE,
)
from server.engine.inference import Judged
from server.engine.roles import fuse_of
from server.engine.verdicts import ContactState
from shared_models.reading import (
    AcrossPart,
    AtRail,
    BetweenContacts,
)
from shared_models.tables import ROLE_BY_ID


def bridge_checks(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Contact to contact wherever a bridge is among the likely stories."""
    found = []
    board = judged.prepared.board
    asked: list[str] = []
    for hypothesis in known:
        for story in hypothesis.stories:
            if story.kind != "bridge" or story.subject in asked or not odd_there(judged, states, story):
                continue
            asked.append(story.subject)
            a, b = (board.contacts[index].number for index in story.contacts)
            answers = [
                two(
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
                candidate(
                    "between",
                    TITLES["bridged"].format(story.subject),
                    BetweenContacts(contact_a=a, contact_b=b),
                    "ohms",
                    answers,
                    lead=None,
                    reasons=(why_of("bridge", why, a, b),),
                )
            )
    return found


def touches_at_parts(judged: Judged, states: list[ContactState], known: list[Hypothesis]) -> list[Candidate]:
    """Across every fuse or ferrite that a likely story calls open, and rail ohms where one calls a rail shorted."""
    found = []
    board = judged.prepared.board
    asked: list[str] = []
    for hypothesis in known:
        for story in hypothesis.stories:
            if story.subject in asked or not odd_there(judged, states, story):
                continue
            if story.kind == "series_open" and story.part is not None:
                asked.append(story.subject)
                answers = [
                    two(
                        SURE
                        if any(one.kind == "series_open" and one.part == story.part for one in other.stories)
                        else 1 - SURE
                    )
                    for other in known
                ]
                read = [index for index in story.contacts if (index, "red") in judged.seen]
                names = " and ".join(board.contacts[index].number for index in read)
                fuse = fuse_of(board.contacts[story.contacts[0]]) == story.part
                verb = "reads" if len(read) == 1 else "read"
                beside = " (a blown fuse moves the contact by little)" if fuse else ""
                why = f"{names} {verb} as if {story.part} were open; across it, OL or over 100 ohm settles it{beside}."
                found.append(
                    candidate(
                        "across_part",
                        TITLES["part_open"].format(story.part),
                        AcrossPart(part=story.part),
                        "ohms",
                        answers,
                        lead=None,
                        reasons=(why_of("across_part", why, part=story.part),),
                    )
                )
            elif story.kind == "rail_short":
                asked.append(story.subject)
                answers = [
                    two(
                        SURE
                        if any(one.kind == "rail_short" and one.subject == story.subject for one in other.stories)
                        else 1 - SURE
                    )
                    for other in known
                ]
                found.append(
                    candidate(
                        "rail_ohms",
                        TITLES["rail_low"].format(story.subject),
                        AtRail(net=story.subject),
                        "ohms",
                        answers,
                        reasons=(
                            why_of("rail_ohms", f"Ohms from {story.subject} to ground, leads nulled first.", part=None),
                        ),
                    )
                )
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
        answers = [two(PLUG_RAIL_LOW_SICK if there else PLUG_RAIL_LOW_WELL) for there in elsewhere]
        why = (
            f"The board's contacts say nothing against it. Unplug the module and measure {net} "
            "to ground at its plug: a few ohms is a sick module, and it must not go in again."
        )
        return [
            candidate(
                "plug_ohms",
                TITLES["plug_rail_low"].format(net),
                AtRail(net=net),
                "ohms",
                answers,
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
