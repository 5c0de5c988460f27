"""A board file for people: its sockets, or one socket's pin table with what each contact leads to."""

from shared_models.board import ChipPin, Clamp, Contact, PathElement, Pull, SeriesPart, ShuntPart
from shared_models.board_file import BoardInFile, TracedSocket
from shared_models.tables import ROLE_BY_ID


def board_text(board: BoardInFile) -> str:
    """The sockets of a board, one a line."""
    lines = [f"{board.format}: {board.parts} parts, {board.nets} nets, {board.pins} pins", ""]
    width = max((len(one.ref) for one in board.sockets), default=0)
    for one in board.sockets:
        words = " ".join(piece for piece in (one.value, one.footprint, one.side or "") if piece)
        lines.append(f"{one.ref:<{width}}  {one.contacts:>4} contacts  {words}")
    if not board.sockets:
        lines.append("No part here looks like a socket; any part can be asked for by its name.")
    return "\n".join([*lines, *_notes(board.notes)])


def socket_text(traced: TracedSocket) -> str:
    """A socket's contacts, all roles proposed, with their paths."""
    socket = traced.board.sockets[0]
    lines = [f"{socket.ref} {socket.name}, {len(socket.contacts)} contacts; every role is proposed from the file", ""]
    for contact in socket.contacts:
        net = contact.net if contact.net is not None else "no net"
        role = f"{ROLE_BY_ID[contact.role].words}: {contact.role_why}"
        lines.append(f"{contact.number:>5}  {contact.name:<18} {net:<18} {role}")
        if contact.role != "ground" and (way := path_words(contact)):
            lines.append(f"{'':7}{way}")
        if contact.also and contact.role != "ground":
            lines.append(f"{'':7}also: {', '.join(element_words(one) for one in contact.also)}")
    if traced.left_out:
        lines += ["", f"No contacts of the plug: {', '.join(traced.left_out)}"]
    return "\n".join([*lines, *_notes(traced.notes)])


def path_words(contact: Contact) -> str:
    """The way inward as a pin table's cell writes it, parts apart by `>`."""
    words = [element_words(one) for one in contact.path]
    if contact.fed_by is not None:
        feed = contact.fed_by
        made_by = f"{feed.coil or feed.capacitor} and {feed.chip}.{feed.pin}"
        words[-1:] = [f"{feed.diode or f'{feed.chip}.{feed.out_pin}'} from {feed.net}: {made_by}"]
    return " > ".join(words)


def element_words(element: PathElement) -> str:
    """One part of a way: `R214 33`, `C12 blocks`, `D5 to GND`, `pull R7 2200 to 1V8`, `U7.14`, `at TP12 top`."""
    match element:
        case SeriesPart():
            mark = " blocks" if element.blocks_dc else " fuse" if element.is_fuse else ""
            ohm = "" if element.ohm is None else f" {element.ohm:g}"
            return f"{element.part}{mark}{ohm}" + ("" if element.far_net is None else f" [{element.far_net}]")
        case ShuntPart():
            return f"{element.part} to {element.to_net or 'GND'}"
        case Clamp():
            return f"clamp {element.part or ''} to {element.to_net or 'GND'}".replace("  ", " ")
        case Pull():
            return f"pull {element.part or ''} {element.ohm:g} to {element.to_net}".replace("  ", " ")
        case ChipPin():
            return f"{element.part}.{element.pin}"
        case _:
            return f"at {element.name}" + (f" {element.side}" if element.side is not None else "")


def _notes(notes: tuple[str, ...]) -> list[str]:
    return ["", *notes] if notes else []
