"""A kind of board, a healthy board of it, and a session with a meter: drawn, known in full, told in part."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.support.bench import tables as t
from tests.support.bench.sockets import SocketPlan


@dataclass(frozen=True)
class Kind:
    """A kind of board: each contact's typical junction (None: nothing conducts) and each chip's ideality."""

    plan: SocketPlan
    typical_mv: tuple[float | None, ...]
    ideality: dict[str, float]


@dataclass(frozen=True)
class Board:
    """One board: each contact's own junction at 1 mA and 25 °C, mV."""

    junction_mv: tuple[float | None, ...]


@dataclass(frozen=True)
class Session:
    """A meter and an air temperature as they are, and as the sheet tells them."""

    current_ma: float
    celsius: float
    gain: float
    offset_mv: float
    open_circuit_mv: float
    told_current_ma: float
    told_air_c: float


def draw_kind(rng: random.Random, plan: SocketPlan) -> Kind:
    """A kind: chips' idealities, each (chip, role)'s level, each pair's or line's own place."""
    chips = sorted({line.chip for line in plan.lines})
    ideality = {chip: max(1.05, rng.gauss(t.IDEALITY, t.IDEALITY_SD)) for chip in chips}
    levels: dict[str, float] = {}
    typical: list[float | None] = []
    for line in plan.lines:
        if not line.conducts:
            typical.append(None)
            continue
        healthy = t.HEALTHY[line.role]
        level = _once(levels, f"{line.chip}/{line.role}", lambda h=healthy: rng.gauss(h.drop_mv, h.kind_sd))
        own = line.net if line.is_rail else line.pair or line.number
        place = _once(levels, f"line {own}", lambda h=healthy: rng.gauss(0, h.line_sd))
        half = 0.0 if line.is_rail else rng.gauss(0, healthy.half_sd)
        typical.append(level + place + half)
    return Kind(plan, tuple(typical), ideality)


def draw_board(rng: random.Random, kind: Kind, *, heavy: bool = False) -> Board:
    """A healthy board: each chip leans as a whole, each contact scatters; `heavy`: some scatter with heavy tails."""
    lean: dict[str, float] = {}
    junctions: list[float | None] = []
    for line, typical in zip(kind.plan.lines, kind.typical_mv, strict=True):
        if typical is None:
            junctions.append(None)
            continue
        healthy = t.HEALTHY[line.role]
        common = _once(lean, line.chip, lambda: rng.gauss(0, 1))
        own = rng.gauss(0, 1)
        if heavy and rng.random() < t.HEAVY_SHARE:
            own /= math.sqrt(rng.gammavariate(t.HEAVY_DF / 2, 2) / t.HEAVY_DF)
        junctions.append(typical + healthy.die_sd * common + healthy.local_sd * own)
    return Board(tuple(junctions))


def of_another_maker(rng: random.Random, kind: Kind, board: Board, chip: str) -> Board:
    """The same board with that chip of another maker: its lines lie elsewhere, by role and each a little."""
    levels: dict[str, float] = {}
    moved: list[float | None] = []
    for line, junction in zip(kind.plan.lines, board.junction_mv, strict=True):
        if junction is None or line.chip != chip:
            moved.append(junction)
            continue
        shift = _once(levels, line.role, lambda: rng.gauss(0, t.REVISION_SD_MV))
        moved.append(junction + shift)
    return Board(tuple(moved))


def draw_session(rng: random.Random, *, nominal: bool = False) -> Session:
    """A meter of its own current, gain and offset, at some air temperature."""
    low, high = t.CURRENT_MA
    current = math.exp(rng.uniform(math.log(low), math.log(high)))
    if nominal and rng.random() < t.NOMINAL_SHARE:
        current = rng.choice(t.NOMINAL_CURRENTS_MA)
    celsius = rng.uniform(*t.AIR_C)
    return Session(
        current_ma=current,
        celsius=celsius,
        gain=rng.gauss(1, t.GAIN_SD),
        offset_mv=rng.gauss(0, t.OFFSET_SD_MV),
        open_circuit_mv=rng.choice(t.OPEN_CIRCUIT_MV),
        told_current_ma=current * math.exp(rng.gauss(0, t.SHEET_CURRENT_SD)),
        told_air_c=celsius + rng.gauss(0, t.AIR_SD_K),
    )


def _once(known: dict[str, float], key: str, draw: Callable[[], float]) -> float:
    if key not in known:
        known[key] = draw()
    return known[key]
