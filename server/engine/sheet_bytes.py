"""A sheet out of its JSON, where the board and its healthy boards may have been read before.

While a job is read, sheet after sheet differs by one reading; nine tenths of its bytes are the healthy boards'. Those
parts are cut out as they stand, and what the same bytes gave last time is used again. Only time is saved: what comes
out is what the plain decoder gives, and so are the errors.
"""

from typing import Any

import msgspec

from server.engine.constants.sessions import MEMO_SIZE
from server.engine.digest import board_digest, rows_digest
from shared_models.board import BoardVersion
from shared_models.reading import Reading
from shared_models.sheet import BenchSheet

NO_BYTES = msgspec.Raw()
_FIELDS = msgspec.structs.fields(BenchSheet)
_decoder = msgspec.json.Decoder(BenchSheet)
_board_decoder = msgspec.json.Decoder(BoardVersion)
_rows_decoder = msgspec.json.Decoder(tuple[Reading, ...])

_boards: dict[bytes, BoardVersion] = {}
_rows: dict[bytes, tuple[tuple[Reading, ...], bytes]] = {}


def _frame() -> type[msgspec.Struct]:
    """BenchSheet with the two large parts left as bytes."""
    fields: list[tuple[str, Any, Any]] = []
    for one in _FIELDS:
        if one.name == "board":
            fields.append((one.name, msgspec.Raw, msgspec.NODEFAULT))
        elif one.name == "known_good_readings":
            fields.append((one.name, msgspec.Raw, NO_BYTES))
        else:
            fields.append((one.name, one.type, one.default))
    return msgspec.defstruct("Frame", fields, kw_only=True, forbid_unknown_fields=True)


_frame_decoder = msgspec.json.Decoder(_frame())


def read_sheet(sheet_json: bytes) -> tuple[BenchSheet, bytes]:
    """The sheet and its `digest.board_digest`. Raises msgspec.DecodeError or ValidationError (with a path)."""
    try:
        frame: Any = _frame_decoder.decode(sheet_json)
        board = _board_of(bytes(frame.board))
        known, digest = _rows_of(bytes(frame.known_good_readings))
    except msgspec.DecodeError:
        # the whole decoder says where in the sheet it is
        sheet = _decoder.decode(sheet_json)
        return sheet, board_digest(sheet)
    told = {one.name: getattr(frame, one.name) for one in _FIELDS}
    sheet = BenchSheet(**{**told, "board": board, "known_good_readings": known})
    return sheet, board_digest(sheet, digest)


def _board_of(raw: bytes) -> BoardVersion:
    if raw not in _boards:
        _make_room(_boards)
        _boards[raw] = _board_decoder.decode(raw)
    return _boards[raw]


def _rows_of(raw: bytes) -> tuple[tuple[Reading, ...], bytes]:
    if not raw:
        return (), rows_digest(())
    if raw not in _rows:
        _make_room(_rows)
        rows = _rows_decoder.decode(raw)
        _rows[raw] = (rows, rows_digest(rows))
    return _rows[raw]


def _make_room(kept: dict[bytes, Any]) -> None:
    if len(kept) >= MEMO_SIZE:
        del kept[next(iter(kept))]
