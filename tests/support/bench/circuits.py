"""What a meter would see, by ngspice: one netlist for up to 600 circuits, kept by its text between runs."""

import hashlib
import json
import math
import os
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.support.bench import tables as t
from tests.support.bench.faults import Condition, Fault, members
from tests.support.bench.truth import Board, Kind, Session
from tests.support.ngspice import OPTIONS, node_millivolts

BATCH = 600
AT_ONCE = 2
CUT_OHM = 1e9
KEPT = Path(tempfile.gettempdir()) / "secondprobe-bench" / hashlib.sha256(OPTIONS.encode()).hexdigest()[:12]
"""Answers of earlier runs, by netlist and solver options: the world does not change when the engine does."""


def saturation_ma(junction_mv: float, ideality: float) -> float:
    """IS at 25 °C of a junction that reads `junction_mv` at 1 mA."""
    n_vt = ideality * t.VT_MV_PER_K * (t.CELSIUS_0 + t.NOMINAL_C)
    return 1 / math.expm1(junction_mv / n_vt)


def circuit(kind: Kind, board: Board, contact: int, session: Session, condition: Condition) -> str | None:
    """Netlist lines of one touch, node `a{i}` under the probe; None where nothing at all conducts."""
    told = [f"I{{i}} 0 a{{i}} DC {session.current_ma:.9g}m"]
    fault = condition.faults.get(contact)
    own = members(kind.plan, contact)
    joined = [(b if a in own else a, ohm) for a, b, ohm in condition.bridges if a in own or b in own]
    branches = _branch(kind, board, contact, session, fault, "a")
    conducts = bool(branches)
    for n, (other, ohm) in enumerate(joined):
        told.append(f"Rb{n}{{i}} a{{i}} b{n}{{i}} {ohm:.9g}")
        further = _branch(kind, board, other, session, condition.faults.get(other), f"b{n}")
        conducts = conducts or bool(further)
        branches += [*further, f"Rz{n}{{i}} b{n}{{i}} 0 {CUT_OHM:g}"]
    return "\n".join([*told, *branches, f"Rm{{i}} a{{i}} 0 {CUT_OHM:g}"]) if conducts else None


def _branch(
    kind: Kind, board: Board, contact: int, session: Session, fault: Fault | None, node: str
) -> list[str]:  # fmt: skip
    """All that lies between one contact's node and ground."""
    line = kind.plan.lines[contact]
    if line.role == "ground":
        return [f"Rg{node}{{i}} {node}{{i}} 0 {t.GROUND_OHM}"]
    what, size = (fault.what, fault.size) if fault else ("", 0.0)
    lines = []
    if what in ("short", "leak"):
        lines.append(f"Rl{node}{{i}} {node}{{i}} 0 {size:.9g}")
    junction = board.junction_mv[contact]
    if junction is None or what == "open":
        return lines
    series = t.BULK_OHM + t.HEALTHY[line.role].series_ohm
    if what == "raised":
        series += size / session.current_ma
    ideality = kind.ideality[line.chip]
    return [
        *lines,
        f"Rs{node}{{i}} {node}{{i}} k{node}{{i}} {series:.9g}",
        f"D{node}{{i}} k{node}{{i}} 0 M{node}{{i}} temp={session.celsius:.6f}",
        f".model M{node}{{i}} D(IS={saturation_ma(junction, ideality):.9g}m N={ideality:.9g} "
        f"EG={t.BANDGAP_MV / 1000} XTI={t.XTI} TNOM={t.NOMINAL_C})",
    ]


def solve(ngspice: str, circuits: Sequence[str]) -> list[float]:
    """The mV under the probe for each circuit, in order; at most two ngspice at once."""
    batches = [circuits[at : at + BATCH] for at in range(0, len(circuits), BATCH)]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        solved = pool.map(lambda batch: _solve_batch(ngspice, batch), batches)
        return [mv for batch in solved for mv in batch]


def _solve_batch(ngspice: str, batch: Sequence[str]) -> list[float]:
    name = hashlib.sha256("\n\n".join(batch).encode()).hexdigest()
    kept = KEPT / f"{name}.json"
    if kept.exists():
        return json.loads(kept.read_text())
    found = node_millivolts(ngspice, batch)
    KEPT.mkdir(parents=True, exist_ok=True)
    unfinished = kept.with_suffix(f".{os.getpid()}")
    unfinished.write_text(json.dumps(found))
    unfinished.replace(kept)
    return found
