"""The one door: a board file opened, its sockets listed, one of them traced into a proposed BoardVersion."""

import hashlib

import msgspec

from server.boards.board_file import BoardFile
from server.boards.nets import BoardPart, Nets, nets_of
from server.boards.pin_list import PinColumnNames
from server.boards.places import drawing
from server.boards.rails import rails_of
from server.boards.read import Told, nobody, read_board
from server.boards.roles_proposed import proposals
from server.boards.rows import lie
from server.boards.socket_kinds import socket_kind, sockets_of
from server.boards.trace import Traced, Tracer
from server.boards.version import nets_named, part_id, parts_of, socket_from
from server.problems import Refusal
from shared_models.board import BoardVersion
from shared_models.board_file import BoardInFile, PinRow, SocketInFile, TracedSocket
from shared_models.change import Problem

OTHERS_SHOWN = 24
"""A net of more pins than this says only how many there are."""


class OpenBoard:
    """A board file that was read: joined, with its rails known. Nothing of it changes any more."""

    def __init__(self, file: BoardFile, digest: str) -> None:
        self.file, self.digest = file, digest
        self.nets: Nets = nets_of(file)
        self.rails = rails_of(self.nets)
        self.tracer = Tracer(self.nets, self.rails)

    @classmethod
    def of(cls, raw: bytes, columns: PinColumnNames | None = None, told: Told = nobody) -> "OpenBoard":
        """Reads the bytes of a file; raises like `read_board`."""
        return cls(read_board(raw, columns, told), hashlib.sha256(raw).hexdigest())

    def summary(self) -> BoardInFile:
        """What the file holds, its sockets first by contacts."""
        return BoardInFile(
            format=self.file.format, parts=len(self.nets.parts), nets=len(self.nets.pins_on),
            pins=sum(len(pins) for pins in self.nets.pins_on.values()),
            sockets=tuple(self._in_file(part) for part in sockets_of(self.nets)), notes=self._notes(),
        )

    def _notes(self) -> tuple[str, ...]:
        return (*self.file.notes, *self.nets.notes)

    def _in_file(self, part: BoardPart) -> SocketInFile:
        pads = [pin.pads[0] for pin in part.pins.values()]
        places = [(pad.u_mm, pad.v_mm) for pad in pads if pad.u_mm is not None and pad.v_mm is not None]
        return SocketInFile(
            ref=part.ref, value=part.value, footprint=part.footprint.rpartition(":")[2], side=part.side,
            kind=socket_kind(part), contacts=len(lie(part).pins), nets=len(part.nets()),
            places=tuple(round(number, 2) for place in places for number in place),
        )

    def traced(self, ref: str) -> TracedSocket:
        """One socket traced. Any part may be asked for, not only those that look like a socket.

        Raises:
            Refusal: 404 where the board has no such part, 422 where it has no contact to read.
        """
        part = self.nets.parts.get(ref)
        if part is None:
            raise self._no_such_socket(ref)
        lies = lie(part)
        if not lies.pins:
            raise Refusal(422, Problem(
                code="no_contacts", message="This part has no contacts with a number.", where=f"part {ref}",
                given=part.value or part.footprint or ref, expected="a part with numbered pins",
                example=self._example(),
            ))
        traced: dict[str, Traced] = {}
        for pin in lies.pins:
            if pin.net is not None and pin.net not in traced:
                traced[pin.net] = self.tracer.trace(ref, pin.net)
        told = proposals(self.tracer, ref, lies.pins, traced, lies.neighbours)
        socket = socket_from(part, lies, self.nets, traced, told)
        wanted = self._wanted(traced)
        board = BoardVersion(
            id=f"{self.digest[:16]}-{socket.ref}", device="", board="", sockets=(socket,), parts=parts_of(socket,
            self.nets),
            nets=nets_named(wanted, self.nets, self.rails, socket), read_from=self.file.format,
            drawing=drawing(self.nets, self.rails, wanted, part, self.file.outline),
        )
        # what the phone and the engine would refuse is refused here first, and nothing of it goes out
        board = msgspec.convert(msgspec.to_builtins(board), BoardVersion)
        return TracedSocket(pins=self._pin_rows(part), board=board, left_out=lies.left_out, notes=self._notes())

    def _wanted(self, traced: dict[str, Traced]) -> list[str]:
        """The nets of the ways, each once, and the nodes that boosts feed from."""
        wanted: dict[str, None] = {}
        for way in traced.values():
            for stop in way.stops:
                wanted.setdefault(stop.net)
            if way.feed is not None:
                wanted.update(dict.fromkeys(net for net, shown in self.nets.shown.items() if shown == way.feed.net))
        return list(wanted)

    def _pin_rows(self, part: BoardPart) -> tuple[PinRow, ...]:
        rows = []
        for pin in part.pins.values():
            on_net = self.nets.pins_on[pin.net] if pin.net is not None else ()
            others = [f"{ref}.{number}" for ref, number in on_net if (ref, number) != (part.ref, pin.number)]
            rows.append(PinRow(
                pin=pin.number, function=pin.function or None, net=pin.net, pins_on_net=len(on_net),
                others=tuple(others) if len(others) <= OTHERS_SHOWN else (),
            ))
        return tuple(rows)

    def _no_such_socket(self, ref: str) -> Refusal:
        return Refusal(404, Problem(
            code="no_such_socket", message="The board has no part of this name.", where="socket", given=ref,
            expected="one of " + (", ".join(part.ref for part in sockets_of(self.nets)[:12]) or "its parts"),
            example=self._example(),
        ))

    def _example(self) -> str:
        sockets = sockets_of(self.nets)
        return sockets[0].ref if sockets else next(iter(self.nets.parts), "J1")


__all__ = ["OpenBoard", "part_id"]
