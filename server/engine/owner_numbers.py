"""The three numbers of the owner's page: the most odd ones, beside a healthy board's, and what they read afterwards.

Contacts of one net that read alike are one line: they are one thing for an owner. The letter of a line is where the
drawing of the socket shows it, so no contact needs a name.
"""

from typing import NamedTuple

from server.engine.constants.papers import NUMBERS_ON_PAGE
from server.engine.owner_words import LINE_WORDS, VERDICT_WORDS, line
from server.engine.papers import Papers
from shared_models.opinion import Band, ContactOpinion
from shared_models.owner_page import PageNumber, PaperLine
from shared_models.proof import ProofSide
from shared_models.tables import KEYPAD

MARKS = "ABC"
READ = ("expected", "short", "low", "high", "open", "unsteady", "unseen")


class _Place(NamedTuple):
    """Where a contact stands in the socket, and what it is for."""

    order: int
    net: str
    role: str


def numbers_on_page(papers: Papers) -> tuple[PageNumber, ...]:
    """At most three lines, the most odd first. Empty while nothing was read."""
    opinion = papers.opinion
    if opinion is None:
        return ()
    places = _places(papers)
    read = [one for one in opinion.contacts if one.verdict in READ and _shown(one) and one.contact in places]
    read.sort(key=lambda one: (_is_plain(one, places), _oddness(one), places[one.contact].order))
    groups: list[list[ContactOpinion]] = []
    for one in read:
        alike = [group for group in groups if _is_one_line(group[0], one, places)]
        if alike:
            alike[0].append(one)
        elif len(groups) < NUMBERS_ON_PAGE:
            groups.append([one])
    return tuple(_number(mark, group, places, papers) for mark, group in zip(MARKS, groups, strict=False))


def _places(papers: Papers) -> dict[str, _Place]:
    sheet = papers.question.sheet
    if sheet is None:
        return {}
    roles = {}
    for one in sorted(sheet.corrections, key=lambda one: (one.made_at_ms, one.id)):
        if one.socket == sheet.socket and one.role is not None and one.id not in sheet.removed_ids:
            roles[one.contact] = one.role
    contacts = [one for socket in sheet.board.sockets if socket.ref == sheet.socket for one in socket.contacts]
    return {
        one.number: _Place(order, one.net or f"of {one.number}", roles.get(one.number, one.role))
        for order, one in enumerate(contacts)
    }


def _oddness(one: ContactOpinion) -> tuple[bool, bool, float, float]:
    """Smaller is more odd: what differs, then what is unlikely to be healthy, then what is far from its band."""
    return (
        one.verdict in ("expected", "unseen"), one.verdict == "unseen", one.odds.expected, -abs(one.off_by_sd or 0.0),
    )


def _is_plain(one: ContactOpinion, places: dict[str, _Place]) -> bool:
    """A healthy ground or an empty contact tells an owner nothing."""
    return one.verdict in ("expected", "unseen") and places[one.contact].role in ("ground", "unconnected")


def _is_one_line(one: ContactOpinion, other: ContactOpinion, places: dict[str, _Place]) -> bool:
    same_net = places[one.contact].net == places[other.contact].net
    return same_net and one.verdict == other.verdict and one.reads_ol == other.reads_ol


def _number(mark: str, group: list[ContactOpinion], places: dict[str, _Place], papers: Papers) -> PageNumber:
    group = sorted(group, key=lambda one: places[one.contact].order)
    first = group[0]
    after = _after(first.contact, papers)
    return PageNumber(
        mark=mark,
        contacts=tuple(one.contact for one in group),
        what=LINE_WORDS[places[first.contact].role],
        yours=_shown(first),
        healthy=_healthy(first.band),
        healthy_from=_from(first.band),
        after=_shown(after) if after is not None else "",
        verdict=VERDICT_WORDS[first.verdict],
        verdict_after=VERDICT_WORDS.get(after.verdict, "") if after is not None else "",
    )


def _after(contact: str, papers: Papers) -> ProofSide | None:
    told = papers.proof.contacts if papers.proof is not None else ()
    return next((one.after for one in told if one.contact == contact), None)


def _shown(one: ContactOpinion | ProofSide) -> str:
    """The number as a meter shows it; nothing where none was taken."""
    if one.reads_ol:
        return KEYPAD.ol_text
    return "" if one.drop_mv is None else f"{one.drop_mv:.0f}"


def _healthy(band: Band) -> str:
    if band.reads_ol:
        return KEYPAD.ol_text
    return "" if band.centre_mv is None else f"{band.centre_mv:.0f}"


def _from(band: Band) -> PaperLine:
    if band.rests_on == "reference_boards" and band.reference_boards:
        return line("from_boards_one") if band.reference_boards == 1 else line(
            "from_boards", n=str(band.reference_boards)
        )
    return line("from_siblings" if band.rests_on == "siblings" else "from_role")
