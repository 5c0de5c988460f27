"""This session's conditions, and what healthy boards carried to them say of every contact before it is read."""

import math
from collections.abc import Iterable
from typing import NamedTuple

import msgspec

from server.engine.accept import Facts, sane_air
from server.engine.bands import (
    Healthy,
    beside_on_references,
    from_references,
    role_band,
    with_limit,
)
from server.engine.branches import Branches
from server.engine.constants.circuit import LINE_MV
from server.engine.constants.sessions import (
    FREED_ROUNDS,
    IDEALITY,
    MEMO_SIZE,
    OPEN_CIRCUIT_DEFAULT_MV,
)
from server.engine.lines_drawn import drawn_lines
from server.engine.meters import (
    Conditions,
    conditions_of,
    log_current_sd,
    slopes,
)
from server.engine.numbering import Ways, ways_to_count
from server.engine.prepared import Prepared
from server.engine.reference_cells import ReferenceCell, reference_cells, spread_within_nets
from server.engine.reference_fit import (
    Moved,
    freed_of_all,
    freed_of_conditions,
    lying,
    unrest_of,
    what_boards_share,
)
from server.engine.roles import PLAIN_PATH, lean_parts, leans_with, spreads_of
from server.engine.straighten import relaid, straightened
from shared_models.reading import LeadOnGround, Meter
from shared_models.sheet import BenchSheet


class KnownBands(NamedTuple):
    """Every contact's band under both leads before any reading of this job, the current's doubt, the ways to count.

    `cells` are the reference boards the bands rest on, carried to the same conditions; `ideality_sd` is how far all
    their lines' n may be off together, `branches` what the circuits of lines that branch say.
    """

    bands: dict[tuple[int, str], Healthy]
    current_sd: float
    ways: Ways
    cells: dict[tuple[int, str], ReferenceCell]
    ideality_sd: float
    branches: Branches

    def with_branches(self, asked: Iterable[tuple[int, str]]) -> dict[tuple[int, str], Healthy]:
        """The bands, of the contacts and leads asked for with what their circuit says: only what is read needs it."""
        bands = dict(self.bands)
        for key in asked:
            line = self.branches.of(key)
            if line is not None:
                bands[key] = bands[key]._replace(shares=line.shares, cut_mv=line.cut_mv)
        return bands


def known_bands(prepared: Prepared, meters: dict[str, Meter], at: Conditions) -> KnownBands:
    """The bands at these conditions; kept with the healthy boards, since one more reading changes none of them."""
    key = (at, *(msgspec.json.encode(meters[one]) for one in sorted(meters)))
    if key not in prepared.known.bands:
        if len(prepared.known.bands) >= MEMO_SIZE:
            prepared.known.bands.clear()
        prepared.known.bands[key] = _make_known_bands(prepared, meters, at)
    return prepared.known.bands[key]


def _make_known_bands(prepared: Prepared, meters: dict[str, Meter], at: Conditions) -> KnownBands:
    carried = reference_cells(prepared.board, prepared.known.sweep, meters, at)
    drawn = drawn_lines(prepared.board, carried, at, "red")
    red_lines = straightened(drawn, carried, at, is_freed=False)
    lie, moved = lying(prepared.board), dict[str, Moved]()
    for _ in range(FREED_ROUNDS):
        moved = what_boards_share(lie, carried, red_lines.lines, at, moved)
        red_lines = straightened(drawn, freed_of_conditions(carried, moved), at, is_freed=True)
    cells, unrest = freed_of_all(carried, moved), unrest_of(moved)
    limit_mv = open_circuit_of(at.meter_id, meters)
    bands: dict[tuple[int, str], Healthy] = {}
    leads: tuple[LeadOnGround, ...] = ("red", "black")
    lines = {
        "red": {contact: relaid(line, cells[contact, "red"], at) for contact, line in red_lines.lines.items()},
        "black": straightened(drawn_lines(prepared.board, cells, at, "black"), cells, at, is_freed=False).lines,
    }
    beside = beside_on_references(prepared.board, lines["red"])
    for contact in range(len(prepared.board.contacts)):
        for lead in leads:
            cell = cells.get((contact, lead))
            told = (
                from_references(
                    prepared.board, contact, lead, cell, lines[lead].get(contact), at,
                    beside.get(contact, ()) if lead == "red" else (),
                )
                if cell is not None
                else role_band(prepared.board, contact, lead, at)
            )
            lean_mv, die_mv = _leans_mv(prepared, contact, told, unrest) if lead == "red" else (0.0, 0.0)
            bands[contact, lead] = with_limit(told, limit_mv)._replace(lean_mv=lean_mv, die_mv=die_mv)
    for lead in leads:
        for contact, net_sd in spread_within_nets(list(prepared.scene.nets.values()), cells, lead).items():
            bands[contact, lead] = bands[contact, lead]._replace(net_sd=net_sd)
    red = [bands[contact, "red"] for contact in range(len(prepared.board.contacts))]
    ways = ways_to_count(prepared.board, red)
    current_sd = session_current_sd(prepared, meters, at, cells, red_lines.ideality_sd)
    branches = Branches(prepared.board, bands, at, limit_mv)
    return KnownBands(bands, current_sd, ways, cells, red_lines.ideality_sd, branches)


def session_conditions(sheet: BenchSheet, facts: Facts, meters: dict[str, Meter]) -> Conditions:
    """The meter most used on this sheet and the air it was used in."""
    counts: dict[str, int] = {}
    airs: list[float] = []
    for touched in facts.sweep:
        counts[touched.reading.meter_id] = counts.get(touched.reading.meter_id, 0) + 1
        if touched.air_c is not None:
            airs.append(touched.air_c)
    meter_id = (
        max(sorted(counts), key=lambda one: counts[one])
        if counts
        else (sheet.meter_id or min(sorted(meters), default=""))
    )
    air = sorted(airs)[len(airs) // 2] if airs else sane_air(sheet.air_c)
    return conditions_of(meter_id, meters.get(meter_id), air)


def open_circuit_of(meter_id: str, meters: dict[str, Meter]) -> float:
    """The voltage above which this meter shows OL, in mV: from its sheet, else the usual one."""
    meter = meters.get(meter_id)
    return meter.open_circuit_mv if meter is not None and meter.open_circuit_mv is not None else OPEN_CIRCUIT_DEFAULT_MV


def session_current_sd(
    prepared: Prepared,
    meters: dict[str, Meter],
    at: Conditions,
    cells: dict[tuple[int, str], ReferenceCell],
    ideality_sd: float,
) -> float:
    """How far this session's current may be from what the references were carried to, as a logarithm.

    Carrying over a ratio of currents also needs n; an n that is wrong for the whole socket looks like
    a current that is wrong, so its spread (`ideality_sd`) is added here and not to every contact alone.
    """
    used = sorted({meter_id for meter_id, _ in prepared.known.read_with})
    if not used:
        return at.current_sd
    sds = sorted(log_current_sd(at, conditions_of(one, meters.get(one), None)) for one in used)
    sheets = max(sds[len(sds) // 2], at.current_sd if at.meter_id not in used else 0.0)
    ratios = [cell.log_ratio for cell in cells.values()]
    carried = abs(math.fsum(ratios)) / len(ratios) if ratios else 0.0
    return math.hypot(sheets, ideality_sd / IDEALITY * carried)


def session_slack(at: Conditions, current_sd: float) -> float:
    """How far a plain junction of the whole session may be shifted, one deviation, in mV."""
    per_log, per_k = slopes(LINE_MV, PLAIN_PATH, at.current_ma, at.air_c)
    return math.hypot(per_log * current_sd, per_k * at.air_sd_k)


def _leans_mv(
    prepared: Prepared, contact: int, band: Healthy, unrest: dict[str, float]
) -> tuple[float, float]:
    """How far this board's group of lines, and its whole chip, may lean from the mean of the healthy ones, one
    deviation each, in mV.
    """
    one = prepared.board.contacts[contact]
    if band.rests_on != "reference_boards" or not leans_with(one):
        return 0.0, 0.0  # what stands alone has its doubt in its band
    group, die = lean_parts(one, spreads_of(one)[1])
    of_mean = math.sqrt(1 + 1 / max(band.boards, 1))
    usual = math.hypot(group, unrest.get(leans_with(one), 0.0)) * of_mean
    return math.hypot(usual, band.shared_mv), die * of_mean
