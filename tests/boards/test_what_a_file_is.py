"""The format is found from the content; what is no board is told by what it is, and what would work."""

import gzip
import io
import zipfile

import pytest

from server.boards.board_file import LARGEST_BYTES
from server.boards.find_format import format_of
from server.boards.read import read_board
from server.problems import Refusal
from tests.support.invented_board import ipc356, ipc2581, kicad, pin_list


@pytest.mark.parametrize(("raw", "found"), [
    (kicad().encode(), "kicad"), (b"\xef\xbb\xbf\n\n" + kicad().encode(), "kicad"), (ipc356().encode(), "ipc356"),
    (b"C  made by hand\r\nP  UNITS CUST 0\r\n", "ipc356"), (ipc2581(), "ipc2581"), (pin_list().encode(), "pin_list"),
])
def test_the_content_says_the_format(raw: bytes, found: str) -> None:
    assert format_of(raw) == found


def bomb() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("board.kicad_pcb", b"(" * 30_000_000)
    return file.getvalue()


@pytest.mark.parametrize(("raw", "words"), [
    (b"", "The file is empty."),
    (b" \n ", "The file is empty."),
    (bomb(), "This is a zip archive."),
    (gzip.compress(b"(" * 1000, mtime=0), "This is a gzip archive."),
    (b"\x89PNG\r\n\x1a\n" + b"\0" * 50, "This is a picture (PNG)."),
    (b"\xff\xd8\xff\xe0" + b"\0" * 50, "This is a picture (JPEG)."),
    (b"%PDF-1.7", "This is a PDF, perhaps of a schematic."),
    (b"G04 made by hand*\n%FSLAX46Y46*%\n%MOMM*%\n",
    "This is a Gerber or a drill file: it draws copper and names no parts or nets."),
    (b"M48\nMETRIC\n", "This is a Gerber or a drill file: it draws copper and names no parts or nets."),
    (bytes(range(256)) * 40, "This is no text: it is encrypted, packed, or a program's own binary file."),
    (bytes((n * 7919) % 251 | 1 for n in range(9000)),
    "This is no text: it is encrypted, packed, or a program's own binary file."),
    ("(kicad_pcb)".encode("utf-16"), "The text is UTF-16."),
    (b"PCBNEW-BoardFile Version 1", "This is a board of a KiCad before 2013."),
    (b"Dear reader\n", "This is no board file of a kind that is read here."),
])
def test_what_is_no_board_is_told_by_what_it_is(raw: bytes, words: str) -> None:
    with pytest.raises(Refusal) as told:
        format_of(raw)
    problem = told.value.problem
    assert (problem.message, problem.where) == (words, "the beginning of the file")
    assert problem.given and problem.expected and problem.example


def test_a_file_longer_than_any_board_is_refused_unread() -> None:
    with pytest.raises(Refusal) as told:
        format_of(b"(" * (LARGEST_BYTES + 1))
    assert (told.value.status, told.value.problem.code) == (413, "too_large")


def test_a_text_in_another_encoding_is_told_with_its_place() -> None:
    with pytest.raises(Refusal) as told:
        read_board(kicad().encode().replace(b"DISPLAY", b"DISPL\xc4Y"))
    assert told.value.problem.code == "not_utf8" and told.value.problem.where.startswith("line ")


def test_a_pin_list_whose_columns_nobody_told_is_asked_for_them() -> None:
    with pytest.raises(Refusal) as told:
        read_board(pin_list().encode())
    assert told.value.problem.code == "columns_unsaid"
