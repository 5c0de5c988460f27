"""Paths that cannot be: parts in line that would drop more than healthy boards read at their contact altogether.

Most likely the value was mistyped (10k for 10). It is then taken for one that nobody told, and asked about, so that no
number is computed from it in silence. A path that names one part in line, or one pin, twice would be a loop: it counts
once, and is asked about too.
"""

import math

from msgspec.structs import replace

from server.engine.accept import Notes, Touched
from server.engine.accepted_board import Board
from server.engine.constants.sessions import BULK_OHM, CURRENT_LOW_MA
from server.engine.robust import median
from server.engine.roles import path_of
from server.engine.wording_ohms import ohms
from shared_models.board import ChipPin, Contact, PathElement, SeriesPart
from shared_models.opinion import Question
from shared_models.reading import Drop, Meter


def without_loops(board: Board, notes: Notes) -> Board:
    """The board with each part in line and each pin once in a path; what was named twice is asked about in `notes`."""
    contacts = list(board.contacts)
    for place, contact in enumerate(contacts):
        once: list[PathElement] = []
        twice: list[str] = []
        for element in contact.path:
            if isinstance(element, SeriesPart | ChipPin) and element.part and _name(element) in map(_name, once):
                twice.append(_name(element))
            else:
                once.append(element)
        if twice:
            contacts[place] = replace(contact, path=tuple(once))
            sentence = (
                f"The path of {contact.number} names {' and '.join(dict.fromkeys(twice))} twice: it is taken once, "
                "where it stands first, until the path is put right."
            )
            notes.questions.append(Question(code="path_twice", sentence=sentence, contact=contact.number))
    if contacts == list(board.contacts):
        return board
    paths = [path_of(contact, board.parts, board.grounds) for contact in contacts]
    return board._replace(contacts=contacts, paths=paths)


def _name(element: PathElement) -> str:
    if isinstance(element, ChipPin):
        return f"{element.part}.{element.pin}"
    return element.part if isinstance(element, SeriesPart) else ""


def with_paths_that_can_be(board: Board, known: list[Touched], meters: tuple[Meter, ...], notes: Notes) -> Board:
    """The board with every value in line left out that healthy boards speak against; each is asked about in `notes`."""
    told_ma = {meter.id: meter.test_current_ma for meter in meters}
    over: dict[int, list[tuple[float, float]]] = {}
    for touched in known:
        place = board.places[getattr(touched.reading.touch, "contact", "")]
        path = board.paths[place]
        if path is None or not isinstance(touched.value, Drop):
            continue
        # of a meter that nobody measured the least it may force
        current_ma = told_ma.get(touched.reading.meter_id) or CURRENT_LOW_MA
        alone_mv = (path.series_ohm - BULK_OHM) * current_ma
        over.setdefault(place, []).append((alone_mv, touched.value.drop_mv))
    doubted = {
        place: median([alone_mv for alone_mv, _ in rows])
        for place, rows in over.items()
        if median([drop_mv - alone_mv for alone_mv, drop_mv in rows]) < 0
    }
    if not doubted:
        return board
    contacts = list(board.contacts)
    for place in sorted(doubted):
        healthy_mv = median([drop_mv for _, drop_mv in over[place]])
        notes.questions.append(_asked(contacts[place], doubted[place], healthy_mv))
        contacts[place] = _without_values(contacts[place])
    paths = [path_of(contact, board.parts, board.grounds) for contact in contacts]
    return board._replace(contacts=contacts, paths=paths)


def _without_values(contact: Contact) -> Contact:
    path = [replace(element, ohm=None) if isinstance(element, SeriesPart) else element for element in contact.path]
    return replace(contact, path=tuple(path))


def _asked(contact: Contact, alone_mv: float, healthy_mv: float) -> Question:
    parts = [element for element in contact.path if isinstance(element, SeriesPart) and element.ohm]
    names = " and ".join(f"{element.part} ({ohms(element.ohm or 0.0)})" for element in parts)
    sentence = (
        f"{names} in line with {contact.number} would drop {math.floor(alone_mv)} mV alone, where healthy boards read "
        f"{healthy_mv:.0f} mV with all that lies behind: the value is not used until the path is put right."
    )
    return Question(code="path_cannot_be", sentence=sentence, contact=contact.number)
