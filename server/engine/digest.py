"""Digests of a sheet's content, whatever the order of its lists: by these an opinion says what it is of.

What never changes while a job is read (board, healthy boards, meters, intake) is digested once and goes into both.
"""

import hashlib
from collections.abc import Iterable

import msgspec

from shared_models.sheet import BenchSheet

_encode = msgspec.json.Encoder().encode


def board_digest(sheet: BenchSheet, known_good: bytes | None = None) -> bytes:
    """A digest of everything that `prepared` looks at, and of all that was taken back.

    `known_good` is `rows_digest` of the healthy boards' readings, the largest part, where the caller has it already.
    """
    lists = (sheet.reference_boards, sheet.corrections, sheet.meters)
    hasher = _digest((sheet.board, sheet.socket, sheet.intake, sheet.shop, sorted(sheet.removed_ids)), lists)
    hasher.update(rows_digest(sheet.known_good_readings) if known_good is None else known_good)
    return hasher.digest()


def rows_digest(rows: Iterable[object]) -> bytes:
    """A digest of a list whose order does not matter."""
    return _digest((), (rows,)).digest()


def sheet_digest(sheet: BenchSheet, board: bytes | None = None) -> str:
    """SHA-256 of the sheet's content as hex; the clock and the sheet's id stay out.

    `board` is `board_digest(sheet)` where the caller has it already.
    """
    lists = (sheet.readings, sheet.observations, sheet.make_safe, sheet.power_checks, sheet.photos)
    told = (sheet.storage, sheet.data_set, sheet.limit_cost, sheet.limit_work_min, sheet.figures)
    hasher = _digest((sheet.air_c, sheet.meter_id, sheet.stage, sheet.mode, *told), lists)
    hasher.update(board_digest(sheet) if board is None else board)
    return hasher.hexdigest()


def _digest(parts: Iterable[object], lists: Iterable[Iterable[object]]) -> "hashlib._Hash":
    hasher = hashlib.sha256()
    for part in parts:
        hasher.update(_encode(part))
    for rows in lists:
        hasher.update(b"|")
        for row in sorted([_encode(row) for row in rows]):
            hasher.update(row)
    return hasher
