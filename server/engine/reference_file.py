"""Reads a file of healthy boards, whole or not at all: strict Structs, and that its parts belong together.

Pure, so the phone checks a file without a network. Which of it is new is for whoever stores it to say.
"""

from collections.abc import Iterable

import msgspec

from server.engine.errors import SheetError
from shared_models.base import BODY_V
from shared_models.board import BoardVersion
from shared_models.reading import AtContact, OfReferenceBoard, Reading
from shared_models.reference_file import ReferenceFile


class _Version(msgspec.Struct):
    """The one field that is looked at before the rest: a newer file may hold anything else."""

    v: int = 1


_version_decoder = msgspec.json.Decoder(_Version)
_decoder = msgspec.json.Decoder(ReferenceFile)
_encoder = msgspec.json.Encoder()


def reference_file_json(file_json: bytes) -> bytes:
    """The file as JSON -> the same file as JSON, checked. Raises like `read_reference_file`."""
    return _encoder.encode(read_reference_file(file_json))


def read_reference_file(file_json: bytes) -> ReferenceFile:
    """The file, checked as a whole.

    Raises msgspec.DecodeError or ValidationError (with a path), or SheetError: a newer version, doubled ids, or
    parts that do not belong together.
    """
    refuse_newer(file_json)
    return check_reference_file(_decoder.decode(file_json))


def refuse_newer(file_json: bytes) -> None:
    """Raises SheetError for a file of a newer version, whatever else it holds; DecodeError for no JSON."""
    version = _version_decoder.decode(file_json).v
    if version > BODY_V:
        raise SheetError(
            "newer_file", "this file was written by a newer app: update this one, then take the file in again",
            where="$.v", given=str(version), expected=f"at most {BODY_V}", example=f'"v":{BODY_V}',
        )


def check_reference_file(file: ReferenceFile) -> ReferenceFile:
    """The file itself, once its parts are seen to belong together. Raises SheetError where they do not."""
    _refuse_doubles("reference_boards", [one.id for one in file.reference_boards])
    _refuse_doubles("readings", [one.id for one in file.readings])
    _refuse_doubles("meters", [one.id for one in file.meters])
    for index, one in enumerate(file.reference_boards):
        where = f"$.reference_boards[{index}].board_version_id"
        _belongs(one.board_version_id, [file.board.id], where, "the board of the file")
    boards = [one.id for one in file.reference_boards]
    meters = [one.id for one in file.meters]
    for index, reading in enumerate(file.readings):
        _check_reading(reading, f"$.readings[{index}]", file.board, boards, meters)
    return file


def _check_reading(reading: Reading, where: str, board: BoardVersion, boards: list[str], meters: list[str]) -> None:
    of = reading.of
    owner = of.reference_board_id if isinstance(of, OfReferenceBoard) else "a job"
    _belongs(owner, boards, f"{where}.of", "a healthy board of the file")
    _belongs(reading.stage, ["on_healthy_board"], f"{where}.stage", "a reading of a healthy board")
    _belongs(reading.meter_id, meters, f"{where}.meter_id", "a meter of the file")
    _belongs(reading.socket, [one.ref for one in board.sockets], f"{where}.socket", "a socket of the board")
    if isinstance(reading.touch, AtContact):
        numbers = [one.number for socket in board.sockets if socket.ref == reading.socket for one in socket.contacts]
        _belongs(reading.touch.contact, numbers, f"{where}.touch.contact", "a contact of its socket")


def _belongs(given: str, known: list[str], where: str, what: str) -> None:
    if given not in known:
        raise SheetError(
            "does_not_belong", f"{given} is not {what}", where=where, given=given, expected=what,
            example=known[0] if known else "none is in the file",
        )


def _refuse_doubles(name: str, ids: Iterable[str]) -> None:
    seen: list[str] = []
    for one in ids:
        if one in seen:
            raise SheetError(
                "doubled", f"{one} stands there twice", where=f"$.{name}", given=one, expected="each id once",
                example="take the second one out",
            )
        seen.append(one)
