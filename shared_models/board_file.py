"""What the server says of a board file: its sockets to choose from, and one of them traced.

Nothing of this is kept: what a person takes over is the `BoardVersion` in `TracedSocket`, after going through it.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import Model
from shared_models.board import BoardVersion, SocketKind
from shared_models.change import Problem


class SocketInFile(Model, frozen=True, kw_only=True):
    """A socket of a board file. `places`: x, y of each contact in millimetres, for a small drawing."""

    ref: str
    value: str
    footprint: str
    side: Literal["top", "bottom", "both"] | None
    kind: SocketKind
    contacts: int
    nets: int
    places: tuple[float, ...] = ()


class BoardInFile(Model, frozen=True, kw_only=True):
    """What a board file holds. `notes` are sentences a person should see."""

    format: str
    parts: int
    nets: int
    pins: int
    sockets: tuple[SocketInFile, ...]
    notes: tuple[str, ...] = ()


class BoardReading(Model, frozen=True, kw_only=True):
    """How far the reading of a board file has come; `board` once it is read, `problem` once it is refused."""

    id: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)")]
    state: Literal["reading", "read", "refused"]
    read_bytes: int
    of_bytes: int
    board: BoardInFile | None = None
    problem: Problem | None = None


class PinRow(Model, frozen=True, kw_only=True):
    """A pin of the socket as the file has it. `net` is the whole name; `others` the pins on it, up to a count."""

    pin: str
    function: str | None = None
    net: str | None = None
    pins_on_net: int = 0
    others: tuple[str, ...] = ()


class TracedSocket(Model, frozen=True, kw_only=True):
    """A socket traced: the pin table as it stands in the file, and the board that is proposed of it.

    `left_out`: pins that are no contacts of the plug (shell, holding pads).
    """

    pins: tuple[PinRow, ...]
    board: BoardVersion
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
