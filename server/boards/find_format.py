"""What a file is, from its first bytes and never from its name; what it is not, in a sentence.

Decides: which reader gets it. A file that is something else (a picture, a Gerber, an archive) is told by what
it is and what would work instead. Nothing compressed is ever unpacked here, so nothing can swell.
"""

import re
from typing import Literal

from server.boards.board_file import LARGEST_BYTES, refused
from server.problems import Refusal

BoardFormat = Literal["kicad", "ipc356", "ipc2581", "pin_list"]

LOOKED_AT = 4096
WORKS = "a .kicad_pcb, an IPC-D-356 test list, an IPC-2581 file, or a list of pins as CSV"
_SIGNATURES: tuple[tuple[bytes, str, str], ...] = (
    (b"PK\x03\x04", "a zip archive", "unpack it and give the board file in it"),
    (b"PK\x05\x06", "an empty zip archive", "the board file itself"),
    (b"\x1f\x8b", "a gzip archive", "unpack it and give the board file in it"),
    (b"BZh", "a bzip2 archive", "unpack it and give the board file in it"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it and give the board file in it"),
    (b"\xfd7zXZ", "an xz archive", "unpack it and give the board file in it"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", "unpack it and give the board file in it"),
    (b"Rar!", "a rar archive", "unpack it and give the board file in it"),
    (b"\x89PNG", "a picture (PNG)", "a picture of a board has no nets in it: the board file"),
    (b"\xff\xd8\xff", "a picture (JPEG)", "a picture of a board has no nets in it: the board file"),
    (b"GIF8", "a picture (GIF)", "the board file"),
    (b"RIFF", "a picture or a sound", "the board file"),
    (b"II*\x00", "a picture (TIFF)", "the board file"),
    (b"MM\x00*", "a picture (TIFF)", "the board file"),
    (b"%PDF", "a PDF, perhaps of a schematic", "the board file; a pin table can be typed by hand from the PDF"),
    (b"SQLite format 3", "a database", "the board file"),
    (b"\xd0\xcf\x11\xe0", "an office or layout program's own binary file",
    "export an IPC-D-356 or IPC-2581 file from it"),
)
_GERBER = re.compile(rb"(?:^|\n)\s*(?:%FS[LT][AI]|%MO(?:IN|MM)\*%|%ADD\d\d|%TF\.|G04\b|M48\b)")
_IPC356 = re.compile(rb"(?m)^(?:P  (?:JOB|CODE|UNITS|TITLE|VER)\b|[CP] .*\r?$\n?(?=[CP] |3[12]7|999)|3[12]7.{18})")


def format_of(raw: bytes) -> BoardFormat:
    """The format of a file.

    Raises:
        Refusal: 413 for a file that is too large, 422 for an empty one and for what is no board: it says what it is.
    """
    if len(raw) > LARGEST_BYTES:
        raise too_large(len(raw))
    head = raw[:LOOKED_AT].removeprefix(b"\xef\xbb\xbf").lstrip()
    if not head:
        raise _no_board("The file is empty.", "nothing")
    for signature, what, instead in _SIGNATURES:
        if raw.startswith(signature):
            raise _no_board(f"This is {what}.", f"bytes that begin with {raw[:4].hex(' ')}", instead)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _no_board("The text is UTF-16.", "a mark of UTF-16", "save it as UTF-8")
    if b"\x00" in raw[:LOOKED_AT] or _mostly_no_text(head):
        raise _no_board("This is no text: it is encrypted, packed, or a program's own binary file.",
                        f"bytes that begin with {raw[:8].hex(' ')}")
    if head.startswith(b"("):
        return "kicad"
    if head.startswith(b"<"):
        return "ipc2581"
    if head.startswith(b"PCBNEW-BoardFile"):
        raise _no_board(
            "This is a board of a KiCad before 2013.", "PCBNEW-BoardFile", "open and save it with a newer KiCad",
        )
    if _GERBER.search(raw[:LOOKED_AT]):
        raise _no_board("This is a Gerber or a drill file: it draws copper and names no parts or nets.",
        _first_line(head),
                        "ask for the IPC-D-356 test list that belongs to the same Gerber files")
    if _IPC356.search(raw[: 16 * LOOKED_AT]):
        return "ipc356"
    if re.search(rb"[,;\t]", head.split(b"\n", 1)[0]):
        return "pin_list"
    raise _no_board("This is no board file of a kind that is read here.", _first_line(head))


def too_large(size: int) -> Refusal:
    """The refusal of a file of so many bytes."""
    refusal = refused(
        "too_large", f"The file is longer than {LARGEST_BYTES} bytes; no board is.", where="the whole file",
        given=f"{size} bytes", expected=f"at most {LARGEST_BYTES} bytes", example="a board file of 1 to 10 MB",
    )
    return Refusal(413, refusal.problem)


def _no_board(message: str, given: str, instead: str = WORKS) -> Refusal:
    where = "the beginning of the file"
    return refused("not_a_board_file", message, where=where, given=given, expected=WORKS, example=instead)


def _mostly_no_text(head: bytes) -> bool:
    odd = sum(byte < 9 or 13 < byte < 32 for byte in head)
    return odd * 50 > len(head)


def _first_line(head: bytes) -> str:
    return head.split(b"\n", 1)[0][:80].decode("utf-8", "replace").strip()
