"""Who meets which voltage when a plug sits some places off: what the module meets, what the board meets.

Plug contact n of a row then stands on socket contact n + slip (places along the same row). A socket
contact's voltage goes onto the *plug's* wrong line; the board's own contacts meet it only through
lines that the module joins inside. So nets of the socket and of the module are joined wherever a
plug contact stands on a socket contact, and every joined cluster is asked for its sources.
"""

from collections.abc import Iterable

from server.engine.accepted_board import Board
from server.engine.constants.overstress import UNKNOWN_IO_LIMIT_MV
from server.engine.roles import path_of
from shared_models.board import Contact
from shared_models.opinion import Overstress
from shared_models.tables import ROLE_BY_ID


def beside(pairs: Iterable[tuple[int | None, int | None]]) -> tuple[tuple[int, int], ...]:
    """Of pairs of places, those with a contact at both."""
    return tuple((near, far) for near, far in pairs if near is not None and far is not None)


def seated_on(board: Board, slip: int) -> dict[int, int]:
    """Plug contact index -> socket contact index it stands on, for a plug `slip` places off; others hang free."""
    stands: dict[int, int] = {}
    for row in board.spots:
        for place, contact in enumerate(row):
            met = row[place + slip] if 0 <= place + slip < len(row) else None
            if contact is not None and met is not None:
                stands[contact] = met
    return stands


def overstress_of(board: Board, slip: int) -> list[Overstress]:
    """Every line that meets a voltage it should not, for one slip. Sorted by who, then contact order."""
    return overstress_where(board, seated_on(board, slip), slip)


def overstress_where(board: Board, stands: dict[int, int], slip: int = 0) -> list[Overstress]:
    """The same for any way the plug's contacts stand on the socket's; `slip` is only handed on."""
    lines: list[Overstress] = []
    for sockets, plugs in _clusters(board, stands):
        lines.extend(lines_of(board, slip, stands, sockets, plugs))
    return sorted(lines, key=lambda line: (line.meets, board.places[line.contact]))


def net_key(contact: Contact) -> str:
    """The net of a contact; grounds are one net; a contact without a net stands alone."""
    if contact.role == "ground":
        return "net:ground"
    return f"net:{contact.net}" if contact.net else f"contact:{contact.number}"


def module_groups(board: Board) -> list[str]:
    """For each plug contact, the name of the module's net it belongs to."""
    names = [
        net_key(contact) if board.socket.module_joins_nets else f"contact:{contact.number}"
        for contact in board.contacts
    ]
    for group in board.socket.module_joins:
        members = [board.places[number] for number in group if number in board.places]
        old = sorted({names[index] for index in members})
        names = [old[0] if name in old else name for name in names]
    return names


def _clusters(board: Board, stands: dict[int, int]) -> list[tuple[list[int], list[int]]]:
    """Joined nets: lists of (socket contacts, plug contacts) that are one node while the plug sits there."""
    parent: dict[str, str] = {}

    def top(name: str) -> str:
        while parent.setdefault(name, name) != name:
            name = parent[name]
        return name

    on_plug = [f"plug/{name}" for name in module_groups(board)]
    on_socket = [f"socket/{net_key(contact)}" for contact in board.contacts]
    for plug, socket in sorted(stands.items()):
        above, below = top(on_plug[plug]), top(on_socket[socket])
        if above != below:
            parent[max(above, below)] = min(above, below)
    found: dict[str, tuple[list[int], list[int]]] = {}
    for side, names in enumerate((on_socket, on_plug)):
        for contact, name in enumerate(names):
            if name in parent:
                found.setdefault(top(name), ([], []))[side].append(contact)
    return [found[name] for name in sorted(found)]


def _strong(contact: Contact, side: str) -> bool:
    """Whether `side` drives this line hard: a rail with a working voltage (a signal only nudges)."""
    by = contact.sourced_by
    ours = by in (side, "both") or (by is None and side == "board")
    return ours and ROLE_BY_ID[contact.role].is_rail and contact.working_mv is not None and contact.working_mv > 0


def lines_of(
    board: Board, slip: int, stands: dict[int, int], sockets: list[int], plugs: list[int]
) -> list[Overstress]:
    """Who of these joined socket and plug contacts meets more than it should, or is shorted to ground."""
    contacts = board.contacts
    socket_sources = [index for index in sockets if _strong(contacts[index], "board")]
    plug_sources = [index for index in plugs if _strong(contacts[index], "module")]
    if not socket_sources and not plug_sources:
        return []
    grounded = any(contacts[index].role == "ground" for index in sockets)
    lines: list[Overstress] = []
    if grounded:
        return [_line(contacts[index], "board", contacts[index], slip, 0.0, shorted=True) for index in socket_sources]
    highest = max(
        [(contacts[index].working_mv or 0.0, -index, "socket") for index in socket_sources]
        + [(contacts[index].working_mv or 0.0, -index, "plug") for index in plug_sources]
    )
    volts_mv, source = highest[0], contacts[-highest[1]]
    for index in sockets:
        if net_key(contacts[index]) != net_key(source) or highest[2] == "plug":
            own = contacts[index].working_mv or 0.0
            if contacts[index].role != "unconnected" and (volts_mv > own or own == 0):
                lines.append(_line(contacts[index], "board", source, slip, volts_mv))
    standing = [index for index in plugs if index in stands]
    for index in standing:
        if contacts[index].role not in ("unconnected", "ground") and net_key(contacts[index]) != net_key(source):
            lines.append(_line(contacts[index], "module", source, slip, volts_mv))
    return lines


def _line(
    contact: Contact, meets: str, source: Contact, slip: int, volts_mv: float, *, shorted: bool = False
) -> Overstress:
    path = path_of(contact)
    limit = contact.limit_mv
    if limit is None and contact.role not in ("unconnected", "ground"):
        limit = UNKNOWN_IO_LIMIT_MV
    return Overstress(
        slip=slip,
        meets="module" if meets == "module" else "board",
        contact=contact.number,
        from_contact=source.number,
        volts_mv=volts_mv,
        limit_mv=limit,
        over_limit_mv=None if limit is None or shorted else volts_mv - limit,
        through_ohm=path.series_ohm if path is not None else 0.0,
        shorted_to_ground=shorted,
    )
