"""Sheet to the board that is judged: the socket with its corrections applied, its geometry, its paths.

Raises SheetError when there is nothing to judge against: no such socket, no contacts, rows that do not match.
"""

from typing import NamedTuple

import msgspec

from server.engine.errors import SheetError
from server.engine.roles import Path, path_of
from shared_models.board import BoardVersion, Contact, ContactCorrection, Net, Part, Row, Socket
from shared_models.sheet import BenchSheet


class Board(NamedTuple):
    """The board as it is judged: the socket with corrections applied; contacts and paths in the order they lie.

    `rows` are contacts alone; `spots` are all places at the pitch, None where no contact is. `grounds`: the nets that
    are ground.
    """

    version: BoardVersion
    socket: Socket
    contacts: list[Contact]
    places: dict[str, int]
    rows: list[list[int]]
    parts: dict[str, Part]
    nets: dict[str, Net]
    grounds: tuple[str, ...]
    paths: list[Path | None]
    spots: list[list[int | None]]


def accept_board(sheet: BenchSheet) -> Board:
    """The socket of the sheet with its corrections. Raises SheetError when there is nothing to read."""
    known = [socket.ref for socket in sheet.board.sockets]
    chosen = next((socket for socket in sheet.board.sockets if socket.ref == sheet.socket), None)
    if chosen is None:
        raise SheetError(
            "no_such_socket",
            f"board {sheet.board.id} has no socket {sheet.socket}",
            where="$.socket",
            given=sheet.socket,
            expected=f"one of {', '.join(known) or 'none: this board has no socket'}",
            example=known[0] if known else "J7",
        )
    if not chosen.contacts:
        raise SheetError(
            "no_contacts",
            f"socket {chosen.ref} has no contacts",
            where="$.board.sockets[].contacts",
            given="an empty list",
            expected="at least one contact",
            example='{"number":"1","role":"ground"}',
        )
    by_number: dict[str, Contact] = {}
    for contact in chosen.contacts:
        if contact.number in by_number:
            raise SheetError(
                "doubled_contact",
                f"contact {contact.number} stands twice on socket {chosen.ref}",
                where="$.board.sockets[].contacts",
                given=contact.number,
                expected="each number once",
                example='"1", "2", "3"',
            )
        by_number[contact.number] = contact
    for fix in _fixes(sheet, chosen):
        _correct(by_number, fix)
    lying = [number for row in chosen.rows for number in row.contacts]
    if sorted(lying) != sorted(by_number):
        odd = sorted(set(lying) ^ set(by_number)) or sorted(number for number in lying if lying.count(number) > 1)
        raise SheetError(
            "rows_do_not_match",
            f"rows and contacts of socket {chosen.ref} differ",
            where="$.board.sockets[].rows",
            given=", ".join(odd),
            expected="each contact in exactly one row",
            example='{"name":"edge row","contacts":["1","3"]}',
        )
    for row in chosen.rows:
        _check_left_out(row, chosen)
    contacts = [by_number[number] for number in lying]
    parts = {part.ref: part for part in sheet.board.parts}
    grounds = tuple(net.name for net in sheet.board.nets if net.rail_kind == "ground")
    index = {contact.number: place for place, contact in enumerate(contacts)}
    rows = [[index[number] for number in row.contacts] for row in chosen.rows]
    return Board(
        sheet.board,
        chosen,
        contacts,
        index,
        rows,
        parts,
        {net.name: net for net in sheet.board.nets},
        grounds,
        [path_of(contact, parts, grounds) for contact in contacts],
        [_spots([index[number] for number in row.contacts], row.left_out) for row in chosen.rows],
    )


def _fixes(sheet: BenchSheet, socket: Socket) -> list[ContactCorrection]:
    """The corrections of a socket that stand, oldest first."""
    removed = set(sheet.removed_ids)
    found = [
        one for one in sheet.corrections
        if one.socket == socket.ref and one.board_version_id == sheet.board.id and one.id not in removed
    ]
    return sorted(found, key=lambda one: (one.made_at_ms, one.id))


def _correct(contacts: dict[str, Contact], fix: ContactCorrection) -> None:
    contact = contacts.get(fix.contact)
    if contact is None:
        return
    told = {
        name: getattr(fix, name)
        for name in ("role", "net", "name", "working_mv", "limit_mv", "leads_to", "sourced_by")
        if getattr(fix, name) is not None
    }
    if "role" in told:
        told["role_origin"] = "confirmed"
    contacts[fix.contact] = msgspec.structs.replace(contact, **told)
    partner = fix.pair_with if fix.pair_with in contacts and fix.pair_with != fix.contact else None
    if fix.no_pair or partner is not None:
        _pair(contacts, fix.contact, None if fix.no_pair else partner)


def _pair(contacts: dict[str, Contact], number: str, partner: str | None) -> None:
    """Ends the pairs these two are in, and makes them one."""
    for one in (number, partner):
        for left in (one, contacts[one].pair_with) if one is not None else ():
            if left in contacts:
                contacts[left] = msgspec.structs.replace(contacts[left], pair_with=None)
    if partner is not None:
        contacts[number] = msgspec.structs.replace(contacts[number], pair_with=partner)
        contacts[partner] = msgspec.structs.replace(contacts[partner], pair_with=number)


def _check_left_out(row: Row, socket: Socket) -> None:
    places = len(row.contacts) + len(row.left_out)
    if len(set(row.left_out)) == len(row.left_out) and max(row.left_out, default=1) <= max(places, 1):
        return
    raise SheetError(
        "left_out_does_not_fit",
        f"row '{row.name}' of socket {socket.ref} leaves out places it does not have",
        where="$.board.sockets[].rows[].left_out",
        given=", ".join(str(place) for place in row.left_out),
        expected=f"places from 1 to {places}, each once",
        example="[3, 4]",
    )


def _spots(row: list[int], left_out: tuple[int, ...]) -> list[int | None]:
    spots: list[int | None] = list(row)
    for place in sorted(left_out):
        spots.insert(place - 1, None)
    return spots
