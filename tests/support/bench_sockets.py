"""Random sockets of several kinds, as the Structs describe them, with the world behind their contacts."""

import random
from dataclasses import dataclass
from typing import Any

from shared_models.base import BODY_V
from shared_models.board import (
    BoardVersion,
    ChipPin,
    Clamp,
    Contact,
    Net,
    Part,
    PathElement,
    Pull,
    Row,
    SeriesPart,
    ShuntPart,
    Socket,
    TestPoint,
)
from tests.support.bench_world import ROLES, WorldBoard, WorldMeter, new_board, shown_mv

# What stands on a socket, block by block: (role, how many, net or "", name)
Block = tuple[tuple[str, int, str, str], ...]
PAIR: Block = (("ground", 1, "GND", "GND"), ("lane", 2, "", "D"))
LVDS: Block = (("lane_lvds", 2, "", "TX"), ("ground", 1, "GND", "GND"))
COUPLED: Block = (("ground", 1, "GND", "GND"), ("lane_coupled", 2, "", "L"))
AUX: Block = (("aux_coupled", 2, "", "AUX"), ("ground", 1, "GND", "GND"))
USB: Block = (("usb_pair", 2, "", "USB"), ("ground", 1, "GND", "GND"))
BUS: Block = (("bus", 2, "", "SC"),)
CONTROL: Block = (("control", 2, "", "CTL"),)
SUPPLY: Block = (("panel_supply", 3, "3V3P", "3V3P"),)
MAIN: Block = (("main_rail", 3, "VMAIN", "VMAIN"), ("ground", 2, "GND", "GND"))
FIVE: Block = (("rail_5v", 2, "5V0", "5V0"),)
IO: Block = (("io_rail", 1, "1V8", "1V8"),)
CORE: Block = (("core_rail", 2, "VCORE", "VCORE"), ("memory_rail", 1, "VMEM", "VMEM"))
LED: Block = (("led_plus", 2, "LED_PLUS", "LED+"), ("unconnected", 1, "", "NC"), ("led_minus", 2, "", "LED-"))
SMALL: Block = (("pwm", 1, "", "PWM"), ("strap", 1, "", "ID"), ("unconnected", 1, "", "NC"))
HPD: Block = (("hot_plug_detect", 1, "", "HPD"),)
UNKNOWN: Block = (("unknown", 3, "", ""),)

RAIL_KINDS: dict[str, Any] = {
    "GND": "ground", "VMAIN": "main", "5V0": "standby", "3V3P": "panel", "1V8": "io", "VCORE": "core",
    "VMEM": "memory", "LED_PLUS": "backlight",
}  # fmt: skip
WORKING_MV = {
    "main_rail": 12_000, "rail_5v": 5000, "panel_supply": 3300, "io_rail": 1800, "led_plus": 28_000, "lane": 1200,
    "bus": 1800, "control": 1800,
}  # fmt: skip


@dataclass(frozen=True)
class SocketPlan:
    """A kind of socket: how it holds the plug, rows, pitch, and the blocks it is filled from."""

    kind: str
    rows: int
    pitch_mm: float
    smallest: int
    largest: int
    blocks: tuple[Block, ...]


PLANS = (
    SocketPlan("open_header", 2, 0.5, 10, 60, (PAIR, PAIR, BUS, CONTROL, SUPPLY, IO, LED, SMALL)),
    SocketPlan("zif", 1, 0.5, 6, 40, (PAIR, BUS, CONTROL, IO, SMALL, UNKNOWN)),
    SocketPlan("micro_coax", 1, 0.4, 20, 40, (MAIN, COUPLED, COUPLED, AUX, HPD, SUPPLY, USB, FIVE)),
    SocketPlan("mezzanine", 2, 0.35, 20, 60, (CORE, MAIN, PAIR, USB, BUS, CONTROL, IO, SMALL)),
    SocketPlan("card_edge", 2, 0.5, 20, 50, (COUPLED, FIVE, SUPPLY, CONTROL, USB)),
    SocketPlan("other", 1, 1.25, 1, 12, (LVDS, UNKNOWN, FIVE, CONTROL)),
)


class World:
    """One kind of board with its truth, and the pens that write what was read of it."""

    def __init__(self, rng: random.Random, plan: SocketPlan, size: int) -> None:
        self.rng = rng
        self.plan = plan
        self.roles: list[str] = []
        self.nets: list[str] = []
        names: list[str] = []
        while len(self.roles) < size:
            for role, count, net, name in rng.choice(plan.blocks):
                for i in range(count):
                    self.roles.append(role)
                    self.nets.append(net)
                    names.append(f"{name}{i}" if name and not net else name)
        del self.roles[size:], self.nets[size:], names[size:]
        self.chips = [rng.choice(("U1", "U2", "U3")) if role != "ground" else "" for role in self.roles]
        self.series = [
            ROLES[role].series_ohm or rng.choice((0.0, 0.0, 0.0, 33.0)) * (role == "control") for role in self.roles
        ]
        self.typical = [self._typical(role) for role in self.roles]
        self.first_of_net = [self.nets.index(net) if net else i for i, net in enumerate(self.nets)]
        self.numbers = [str(i + 1) for i in range(size)]
        self.told_paths = rng.random() < 0.7
        self.parts: dict[str, Part] = {chip: Part(ref=chip, kind="chip") for chip in ("U1", "U2", "U3")}
        contacts = tuple(self._contact(i, names[i]) for i in range(size))
        if plan.rows == 1:
            rows = (Row(name="row", contacts=tuple(self.numbers)),)
        else:
            rows = (
                Row(name="odd row", contacts=tuple(self.numbers[0::2])),
                *((Row(name="even row", contacts=tuple(self.numbers[1::2])),) if size > 1 else ()),
            )
        kind: Any = plan.kind
        self.socket = Socket(
            ref="J1",
            kind=kind,
            pitch_mm=plan.pitch_mm,
            rows=rows,
            contacts=contacts,
            module_joins_nets=rng.random() < 0.9,
        )
        rails: dict[str, Any] = {
            "GND": "ground",
            "VMAIN": "main",
            "5V0": "standby",
            "3V3P": "panel",
            "1V8": "io",
            "VCORE": "core",
            "VMEM": "memory",
            "LED_PLUS": "backlight",
        }
        nets = tuple(Net(name=name, rail_kind=rails[name]) for name in sorted(set(self.nets) - {""}))
        self.version = BoardVersion(
            id="board-v1",
            device="test board",
            board="TB1",
            sockets=(self.socket,),
            parts=tuple(self.parts.values()),
            nets=nets,
            v=BODY_V,
        )

    def _series_ohm(self, role: str) -> float:
        return self.rng.choice((0.0, 0.0, 0.0, 33.0)) if role == "control" else ROLES[role].series_ohm

    def _typical(self, role: str) -> float | None:
        middle = ROLES[role].red_mv
        return None if middle is None else max(0.0, middle + self.rng.gauss(0, 3 * ROLES[role].spread_mv))

    def _contact(self, i: int, name: str) -> Contact:
        role: Any = self.roles[i]
        rng = self.rng
        path: list[PathElement] = []
        if self.told_paths and role not in ("ground", "unconnected") and rng.random() < 0.8:
            path = self._path(i)
        pair = None
        if role in ("lane", "lane_lvds", "lane_coupled", "usb_pair", "aux_coupled"):
            for j in (i - 1, i + 1):
                if 0 <= j < len(self.roles) and self.roles[j] == role and name[:-1] and rng.random() < 0.9:
                    pair = self.numbers[j]
        working = WORKING_MV.get(role)
        return Contact(
            number=self.numbers[i],
            name=name,
            net=self.nets[i] or None,
            role=role,
            working_mv=working,
            limit_mv=None if working is None or rng.random() < 0.4 else working * 1.2,
            sourced_by=rng.choice(("board", "module", "both", None, None)),
            leads_to=self.chips[i] or None if rng.random() < 0.6 else None,
            pair_with=pair,
            path=tuple(path),
            tail_reachable=rng.random() < 0.8,
        )

    def _path(self, i: int) -> list[PathElement]:
        role, rng = self.roles[i], self.rng
        path: list[PathElement] = []
        if self.series[i]:
            path.append(SeriesPart(part=self._part(f"R{i}", "resistor"), ohm=self.series[i]))
        if role.endswith("coupled"):
            path.append(SeriesPart(part=self._part(f"C{i}", "capacitor"), blocks_dc=True))
        if role in ("led_plus", "main_rail"):
            path.append(SeriesPart(part=self._part("F1", "fuse"), ohm=0.2, is_fuse=True))
        if rng.random() < 0.3:
            path.append(ShuntPart(part=self._part(f"D{i // 4}", "esd_array")))
        if rng.random() < 0.2:
            path.append(Clamp(to_net="1V8"))
        if rng.random() < 0.2:
            path.append(Pull(ohm=rng.choice((2200.0, 10_000.0)), to_net="1V8"))
        if rng.random() < 0.2:
            path.append(TestPoint(name=f"TP{i}", side="top"))
        if self.chips[i]:
            path.append(ChipPin(part=self.chips[i], pin=f"{i}"))
        return path

    def _part(self, ref: str, kind: Any) -> str:
        self.parts.setdefault(ref, Part(ref=ref, kind=kind))
        return ref

    def board(self) -> WorldBoard:
        board = new_board(self.rng, self.roles, self.chips, self.typical, self.series)
        # contacts of one net are one piece of copper: they see the same junction
        for i, first in enumerate(self.first_of_net):
            board.junction_mv[i], board.black_mv[i] = board.junction_mv[first], board.black_mv[first]
            board.ideality[i] = board.ideality[first]
        return board

    def number_shown(self, board: WorldBoard, i: int, lead: str, meter: WorldMeter, celsius: float) -> float | None:
        """One touch: noise, and now and then a touch that failed (OL, or the neighbour's number)."""
        rng = self.rng
        chance = rng.random()
        if chance < 0.014:
            return None
        if chance < 0.02:
            i = max(0, i - 1)
        shown = shown_mv(board, i, lead, meter, celsius)
        return None if shown is None else shown + rng.gauss(0, 0.8)
