"""A small world that bench sheets are drawn from: roles, junctions, faults, meters. No engine code.

Numbers are plain tables and one diode equation of its own: what a meter shows when it forces a current
into a series resistance, a junction and whatever leaks across it, solved by halving an interval.
They are meant to be like a bench, not to be right about any real board.
"""

import math
import random
from dataclasses import dataclass, field
from typing import Literal

VT_PER_K = 0.0861733  # mV
GAP_MV = 1110.0
METAL_MV = 15.0  # below that there is no junction, only copper or a very large chip

Fault = Literal["none", "short", "leak", "open", "raised"]


@dataclass(frozen=True)
class RoleNumbers:
    """A healthy contact at 1 mA and 23 C: typical mV (None: OL), spread between boards, series ohm."""

    red_mv: float | None
    spread_mv: float
    series_ohm: float = 0.0
    black_mv: float | None = None
    climbs: bool = False


ROLES: dict[str, RoleNumbers] = {
    "ground": RoleNumbers(0.0, 0.5, black_mv=0.0),
    "main_rail": RoleNumbers(440, 12, black_mv=1500, climbs=True),
    "rail_5v": RoleNumbers(410, 11, black_mv=900, climbs=True),
    "panel_supply": RoleNumbers(395, 10, black_mv=800, climbs=True),
    "io_rail": RoleNumbers(320, 8, black_mv=600, climbs=True),
    "memory_rail": RoleNumbers(120, 10, black_mv=300, climbs=True),
    "core_rail": RoleNumbers(5, 1, black_mv=5),
    "core_rail_large": RoleNumbers(0.5, 0.2, black_mv=0.5),
    "lane": RoleNumbers(338, 4, black_mv=600),
    "lane_lvds": RoleNumbers(420, 5, black_mv=700),
    "lane_coupled": RoleNumbers(None, 0),
    "aux_coupled": RoleNumbers(None, 0),
    "usb_pair": RoleNumbers(450, 5, series_ohm=22, black_mv=800),
    "bus": RoleNumbers(453, 6, series_ohm=22, black_mv=700),
    "control": RoleNumbers(470, 5, black_mv=750),
    "hot_plug_detect": RoleNumbers(446, 8, series_ohm=1000),
    "pwm": RoleNumbers(515, 6, black_mv=800),
    "led_plus": RoleNumbers(490, 15, climbs=True),
    "led_minus": RoleNumbers(535, 10),
    "strap": RoleNumbers(None, 0),
    "unconnected": RoleNumbers(None, 0),
    "unknown": RoleNumbers(430, 40, black_mv=700),
}


@dataclass(frozen=True)
class WorldMeter:
    """A meter as it truly is; what its sheet says is decided elsewhere."""

    id: str
    current_ma: float
    open_circuit_mv: float
    lead_ohm: float = 0.3


@dataclass
class WorldBoard:
    """One board: each contact's junction at 1 mA and 23 C (None: nothing to see), and what is wrong with it."""

    junction_mv: list[float | None]
    black_mv: list[float | None]
    series_ohm: list[float]
    ideality: list[float]
    fault: list[Fault] = field(default_factory=list)
    leak_ohm: list[float] = field(default_factory=list)


def junction_mv(at_1ma_23c: float, ideality: float, current_ma: float, celsius: float) -> float:
    """A junction's voltage at another current and temperature (SPICE's saturation current law, XTI 3)."""
    kelvin, cool = celsius + 273.15, 296.15
    vt, vt_cool = VT_PER_K * kelvin, VT_PER_K * cool
    saturation_cool = math.exp(-at_1ma_23c / (ideality * vt_cool))
    ratio = kelvin / cool
    saturation = saturation_cool * math.exp((ratio - 1) * GAP_MV / (ideality * vt) + 3 / ideality * math.log(ratio))
    return ideality * vt * math.log1p(max(current_ma, 0.0) / saturation)


def shown_mv(board: WorldBoard, contact: int, lead: str, meter: WorldMeter, celsius: float) -> float | None:
    """What the meter would show without noise; None is OL."""
    own = board.junction_mv[contact] if lead == "red" else board.black_mv[contact]
    fault = board.fault[contact]
    if fault == "open" or (own is None and fault == "none"):
        return None
    series_mv = (board.series_ohm[contact] + meter.lead_ohm) * meter.current_ma
    leak = {"short": 2.0, "leak": board.leak_ohm[contact]}.get(fault, math.inf)
    if own is None:
        total = leak * meter.current_ma + series_mv
    elif own < METAL_MV:
        total = min(own, leak * meter.current_ma)
    else:
        total = _behind_leak(own, board.ideality[contact], leak, meter.current_ma, celsius) + series_mv
    if fault == "raised":
        total += board.leak_ohm[contact] * meter.current_ma
    return total if total < meter.open_circuit_mv else None


def _behind_leak(own: float, ideality: float, leak_ohm: float, current_ma: float, celsius: float) -> float:
    healthy = junction_mv(own, ideality, current_ma, celsius)
    if math.isinf(leak_ohm):
        return healthy
    low, high = 0.0, healthy
    for _ in range(60):
        middle = (low + high) / 2
        if middle < junction_mv(own, ideality, current_ma - middle / leak_ohm, celsius):
            low = middle
        else:
            high = middle
    return high


def new_board(
    rng: random.Random, roles: list[str], chips: list[str], typical: list[float | None], series: list[float]
) -> WorldBoard:
    """A healthy board of a kind: contacts of one chip lean together, each scatters a little of its own."""
    lean = {chip: rng.gauss(0, 0.7) for chip in sorted(set(chips))}
    ideality = {chip: rng.uniform(1.05, 1.6) for chip in sorted(set(chips))}
    junctions: list[float | None] = []
    blacks: list[float | None] = []
    for role, chip, middle in zip(roles, chips, typical, strict=True):
        numbers = ROLES[role]
        wander = numbers.spread_mv * (lean[chip] + rng.gauss(0, 0.6))
        junctions.append(None if middle is None else max(0.0, middle + wander))
        blacks.append(None if numbers.black_mv is None else max(0.0, numbers.black_mv + 2 * wander))
    return WorldBoard(
        junctions,
        blacks,
        list(series),
        [ideality[chip] for chip in chips],
        ["none"] * len(roles),
        [math.inf] * len(roles),
    )
