"""Files that KiCad itself wrote of the invented board: IPC-2581 in both revisions, and a test list.

They were made by `kicad-cli pcb export ipc2581 --version C --units mm` (B in inches) and `ipcd356` of KiCad 9.0.2
from `invented_board.kicad(20241229)` as version 9 of the board file; who changes the design makes them anew. They
prove that what KiCad 9 writes is read; of other programs' IPC-2581 they prove nothing. KiCad 9 writes no LogicalNet,
puts CMP, PIN and NET before every name, and one package for all parts of one shape.
"""

from functools import cache
from pathlib import Path

import pytest

from server.boards.board_file import BoardFile
from server.boards.door import OpenBoard
from server.boards.ipc356 import read_ipc356
from server.boards.ipc2581 import read_ipc2581
from server.boards.kicad import read_kicad
from shared_models.board import Contact
from tests.support.invented_board import kicad

FOLDER = Path(__file__).parents[1] / "vectors" / "boards"
C_MM, B_INCH, LIST = "kicad9_revision_c_mm.xml", "kicad9_revision_b_inch.xml", "kicad9.d356"
Key = tuple[str, str]


@cache
def read(name: str) -> BoardFile:
    raw = (FOLDER / name).read_bytes()
    return read_ipc356(raw.decode("latin-1")) if name == LIST else read_ipc2581(raw)


BOARD = read_kicad(kicad())


def nets(board: BoardFile) -> dict[Key, str]:
    return {(part.ref, pad.number): pad.net for part in board.parts for pad in part.pads if pad.net}


def together(board: BoardFile) -> set[frozenset[Key]]:
    of = nets(board)
    return {frozenset(key for key in of if of[key] == net) for net in of.values()}


@pytest.mark.parametrize("name", [C_MM, B_INCH, LIST])
def test_the_same_pins_lie_together_as_on_the_board(name: str) -> None:
    assert together(read(name)) == together(BOARD) and len(together(BOARD)) == 31


def test_names_of_nets_are_the_boards_own_where_the_revision_leaves_them_alone() -> None:
    assert nets(read(C_MM)) == nets(BOARD)
    assert nets(read(B_INCH))["J1", "2"] == "_Display_LED_FEED"  # revision B allows few letters in a name


@pytest.mark.parametrize("name", [C_MM, B_INCH, LIST])
def test_places_and_sides_are_the_boards_own(name: str) -> None:
    pads = [(part, pad) for part in BOARD.parts for pad in part.pads if pad.net]
    at = {(part.ref, pad.number, pad.x_mm): (pad.y_mm, pad.side) for part, pad in pads}
    told = [(part, pad) for part in read(name).parts for pad in part.pads if pad.net]
    assert len(told) == len(at)
    for part, pad in told:
        assert pad.x_mm is not None
        near = [key for key in at if key[:2] == (part.ref, pad.number) and abs((key[2] or 0) - pad.x_mm) < 0.004]
        assert [at[key] for key in near] == [(pytest.approx(pad.y_mm, abs=0.004), pad.side)], (part.ref, pad.number)


@pytest.mark.parametrize("name", [C_MM, B_INCH])
def test_values_and_what_is_not_fitted_come_from_the_list_of_parts(name: str) -> None:
    told = {part.ref: part for part in read(name).parts}
    for part in BOARD.parts:
        if part.ref != "H1":
            assert told[part.ref].value == part.value
            assert bool(told[part.ref].not_fitted) == bool(part.not_fitted), part.ref
    assert told["R6"].not_fitted == "its value says so: (na)0R"


@pytest.mark.parametrize("name", [C_MM, B_INCH])
def test_parts_are_of_the_kinds_they_are_on_the_board_though_packages_are_shared(name: str) -> None:
    kinds = [
        {ref: part.kind for ref, part in OpenBoard.of(raw).nets.parts.items() if part.pins and ref != "H1"}
        for raw in ((FOLDER / name).read_bytes(), kicad().encode())
    ]
    assert kinds[0] == kinds[1]


def contacts(raw: bytes) -> dict[str, Contact]:
    return {one.number: one for one in OpenBoard.of(raw).traced("J1").board.sockets[0].contacts}


def test_every_contact_leads_where_it_leads_on_the_board() -> None:
    ours, theirs = contacts(kicad().encode()), contacts((FOLDER / C_MM).read_bytes())
    for number, contact in ours.items():
        other = theirs[number]
        assert (other.path, other.fed_by, other.net, other.neighbours) == (
            contact.path, contact.fed_by, contact.net, contact.neighbours), number
    assert theirs["2"].role == "led_plus" and theirs["5"].role == "lane_coupled"


def test_the_edge_is_closed_and_has_the_boards_size() -> None:
    for name in (C_MM, B_INCH):
        (line,) = read(name).outline
        xs, ys = line[::2], line[1::2]
        assert (line[0], line[1]) == (line[-2], line[-1])
        assert [min(xs), max(xs), min(ys), max(ys)] == pytest.approx([0, 80, 0, 41.5], abs=0.02)
