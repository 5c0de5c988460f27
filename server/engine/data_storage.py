"""How the data sit on this board: as the board says, else as was told at the counter. Also runs on the phone."""

from typing import Literal, NamedTuple

from server.engine.accepted_board import Board
from shared_models.sheet import BenchSheet

StorageKind = Literal["not_known", "soldered", "removable", "sealed_to_chip", "on_another_board"]


class Storage(NamedTuple):
    """How the data were taken to sit, and whether a person or the board said so."""

    kind: StorageKind
    told: bool


def storage_of(sheet: BenchSheet, board: Board) -> Storage:
    """A chip of the board that guards the data seals them, whatever the storage looks like."""
    if sheet.data_set == "on_another_board":
        return Storage("on_another_board", True)
    if sheet.storage == "sealed_to_chip" or any(part.guards_data for part in board.version.parts):
        return Storage("sealed_to_chip", True)
    return Storage(sheet.storage, sheet.storage != "not_known")
