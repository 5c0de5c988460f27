"""Which rails may be joined to a shorted one, and what the job's ohms say of each.

Joined through a shorted switch or chip, a rail takes another one up with it: so ohms to every core and memory rail come
before any injection, and whatever was not measured apart counts for the ceiling. Two rails that meet only at ground
read the sum of their own ohms to ground from one to the other; clearly less is a joint of their own.
"""

from typing import Literal, NamedTuple

from server.engine.constants.shorts import APART_OHM, APART_SHARE, LOWEST_USUAL_MV, TELL_APART_OHM
from server.engine.errors import SheetError
from server.engine.quantities import Doubt, read_text
from server.engine.rail_places import joined_name
from server.engine.rounding import plain
from server.engine.wording_shorts import UNNAMED_CORE, beside_words
from shared_models.board import BoardVersion, Contact, RailKind, SeriesPart
from shared_models.reading import AtContact, AtRail, AtTestPoint, BetweenContacts, Ohms, OverRange, Reading, Value
from shared_models.shorts import RailBeside, ShortRailQuestion
from shared_models.tables import ROLE_BY_ID

CORE: tuple[RailKind, ...] = ("core", "memory")
KIND_OF_ROLE: dict[str, RailKind] = {
    "main_rail": "main",
    "rail_5v": "standby",
    "panel_supply": "panel",
    "io_rail": "io",
    "memory_rail": "memory",
    "core_rail": "core",
    "core_rail_large": "core",
    "led_plus": "backlight",
}


RailState = Literal["apart", "joined", "through_part", "not_measured"]


class Rail(NamedTuple):
    """A rail of the board: its kind, and its voltage; `assumed` where the record holds none."""

    name: str
    kind: RailKind
    working_mv: float
    assumed: bool


def rails_of(board: BoardVersion) -> dict[str, Rail]:
    """Every rail the board's record knows, from its nets and from its contacts' roles."""
    found = {
        net.name: _rail(net.name, net.rail_kind, net.working_mv)
        for net in board.nets
        if net.rail_kind not in (None, "ground")
    }
    for contact in _contacts(board):
        name = contact.net or contact.number
        if ROLE_BY_ID[contact.role].is_rail and name not in found:
            found[name] = _rail(name, KIND_OF_ROLE[contact.role], contact.working_mv)
    return found


def _rail(name: str, kind: RailKind | None, working_mv: float | None) -> Rail:
    known = kind or "io"
    assumed = not working_mv
    return Rail(name, known, working_mv or LOWEST_USUAL_MV[known], assumed)


def _contacts(board: BoardVersion) -> list[Contact]:
    return [contact for socket in board.sockets for contact in socket.contacts]


def rail_of(board: BoardVersion, name: str) -> Rail:
    """The rail in question. Raises SheetError where the board has none of that name."""
    rails = rails_of(board)
    if name in rails:
        return rails[name]
    known = sorted(rails)
    raise SheetError(
        "no_such_rail",
        f"board {board.id} has no rail {name}",
        where="$.rail",
        given=name or "nothing",
        expected=f"one of {', '.join(known) or 'none: this board names no rail'}",
        example=known[0] if known else "3V3D",
    )


def rails_beside(question: ShortRailQuestion) -> list[RailBeside]:
    """Every rail that may be joined, those whose ohms must come first at the top, then the lowest voltage first."""
    board, own = question.board, rail_of(question.board, question.rail)
    others = {name: rail for name, rail in rails_of(board).items() if name != own.name}
    if own.kind not in CORE and not any(rail.kind in CORE for rail in others.values()):
        others[UNNAMED_CORE] = Rail(UNNAMED_CORE, "core", LOWEST_USUAL_MV["core"], True)
    parts = _parts_between(board, own.name)
    told = [
        _beside(question, own, rail, parts.get(rail.name))
        for rail in others.values()
        if rail.kind in CORE or rail.name in parts or rail.working_mv < own.working_mv
    ]
    return sorted(told, key=lambda one: (not one.must, one.working_mv, one.net))


def _parts_between(board: BoardVersion, own: str) -> dict[str, str]:
    """Rails at the other end of a part in line with this one: net -> part."""
    found: dict[str, str] = {}
    for contact in _contacts(board):
        here = contact.net or contact.number
        for element in contact.path:
            if isinstance(element, SeriesPart) and not element.blocks_dc and element.far_net:
                if here == own:
                    found.setdefault(element.far_net, element.part)
                elif element.far_net == own:
                    found.setdefault(here, element.part)
                here = element.far_net
    return found


def _beside(question: ShortRailQuestion, own: Rail, rail: Rail, part: str | None) -> RailBeside:
    reading, value = _between(question, own.name, rail.name)
    ohm = value.ohm if isinstance(value, Ohms) else None
    state, code = _state(question, own.name, rail.name, value, part)
    return RailBeside(
        net=rail.name,
        rail_kind=rail.kind,
        working_mv=rail.working_mv,
        assumed=rail.assumed,
        state=state,
        must=rail.kind in CORE,
        sentence=beside_words(code, own.name, rail.name, ohm, part),
        ohm=None if ohm is None else plain(ohm),
        reading_id=None if reading is None else reading.id,
        touch_name=joined_name(own.name, rail.name),
    )


def _state(
    question: ShortRailQuestion, own: str, other: str, value: Value | None, part: str | None
) -> tuple[RailState, str]:
    """(state, code of the sentence) from the ohms between two rails beside what each measures to ground."""
    if part is not None:
        return "through_part", "through_part"
    if value is None:
        return "not_measured", "no_core_named" if other == UNNAMED_CORE else "not_measured"
    if isinstance(value, OverRange) or (isinstance(value, Ohms) and value.ohm >= APART_OHM):
        return "apart", "apart"
    grounds = [_to_ground(question, name) for name in (own, other)]
    if None in grounds or not isinstance(value, Ohms):
        return "joined", "joined_or_ground"
    both = (grounds[0] or 0.0) + (grounds[1] or 0.0)
    if both < TELL_APART_OHM:
        return "joined", "cannot_tell"
    return ("apart", "through_ground") if value.ohm >= APART_SHARE * both else ("joined", "joined")


def _standing(question: ShortRailQuestion) -> list[Reading]:
    """Ohms of the job that stand, newest last."""
    gone = {*question.removed_ids, *(one.supersedes for one in question.readings if one.supersedes)}
    kept = [one for one in question.readings if one.id not in gone and one.kind == "ohms"]
    board_side = [one for one in kept if one.subject == "board_socket"]
    return sorted(board_side, key=lambda one: (one.taken_at_ms, one.id))


def _between(question: ShortRailQuestion, own: str, other: str) -> tuple[Reading | None, Value | None]:
    """The newest ohms from one rail to the other that say something."""
    names = (joined_name(own, other), joined_name(other, own))
    net_of = {one.number: one.net or one.number for one in _contacts(question.board)}
    for reading in reversed(_standing(question)):
        touch = reading.touch
        here = isinstance(touch, AtTestPoint) and touch.name in names
        if isinstance(touch, BetweenContacts):
            here = {net_of.get(touch.contact_a), net_of.get(touch.contact_b)} == {own, other}
        value = _value(reading) if here else None
        if isinstance(value, Ohms | OverRange):
            return reading, value
    return None, None


def _to_ground(question: ShortRailQuestion, name: str) -> float | None:
    """The newest ohms of a rail to ground."""
    net_of = {one.number: one.net or one.number for one in _contacts(question.board)}
    for reading in reversed(_standing(question)):
        touch = reading.touch
        at = touch.net if isinstance(touch, AtRail) else None
        if isinstance(touch, AtContact):
            at = net_of.get(touch.contact)
        value = _value(reading) if at == name else None
        if isinstance(value, Ohms):
            return value.ohm
    return None


def _value(reading: Reading) -> Value | None:
    if reading.value is not None:
        return reading.value
    read = read_text(reading.as_typed, reading.display_unit, reading.kind)
    return None if isinstance(read, Doubt) else read
