"""Known-good readings of each contact, carried to this session's meter and temperature, by healthy board."""

import math
from typing import NamedTuple

from server.engine.accept import Touched
from server.engine.accepted_board import Board
from server.engine.constants.readings import NET_FOLLOWER_SD_MV, REFERENCE_DF
from server.engine.meters import Conditions, carry, conditions_of
from server.engine.roles import Path, path_under
from shared_models.reading import Drop, LeadOnGround, Meter, OfReferenceBoard


class ReferenceCell(NamedTuple):
    """All reference boards at one contact and lead: carried values by board, OL count, climbs.

    `taken_at[i]` are the conditions board i was read under; `steps[i]` how far its current was carried, as
    (this meter's less its own, mA; logarithm of their ratio). `moved_mv` is how far carrying moved a reading on
    average, `log_ratio` the mean logarithm of the ratio of currents, signed. `as_read` goes with `values`: what the
    board showed on its own meter, and whether that is the meter carried to. `over_boards` are those that showed OL.
    """

    boards: list[str]
    values: list[float]
    taken_at: list[Conditions]
    steps: list[tuple[float, float]]
    over_range: int
    climbs: int
    noted: int
    moved_mv: float
    same_meter: float
    log_ratio: float
    as_read: tuple[tuple[float, bool], ...] = ()
    over_boards: tuple[str, ...] = ()


def reference_cells(
    board: Board, known: list[Touched], meters: dict[str, Meter], to: Conditions
) -> dict[tuple[int, str], ReferenceCell]:
    """Known-good readings by (contact index, lead), carried to the conditions `to`."""
    rows: dict[tuple[int, LeadOnGround], dict[str, list[Touched]]] = {}
    for touched in known:
        reading = touched.reading
        contact = getattr(reading.touch, "contact", "")
        lead = reading.lead_on_ground
        if lead is None or not isinstance(reading.of, OfReferenceBoard):
            continue
        rows.setdefault((board.places[contact], lead), {}).setdefault(reading.of.reference_board_id, []).append(touched)
    taken = _Taken(meters, to)
    return {
        (contact, lead): _cell(path_under(board.contacts[contact], lead, board.parts, board.grounds), by_board, taken)
        for (contact, lead), by_board in sorted(rows.items())
    }


class _Taken:
    """Under what readings were taken: one board is read with one meter in one air, contact after contact."""

    def __init__(self, meters: dict[str, Meter], to: Conditions) -> None:
        self.meters, self.to = meters, to
        self.known: dict[tuple[str, float | None], tuple[Conditions, float, tuple[float, float]]] = {}

    def of(self, touched: Touched) -> tuple[Conditions, float, tuple[float, float]]:
        """The conditions, the current carried from (mA), and the step to this meter's (`ReferenceCell.steps`)."""
        key = (touched.reading.meter_id, touched.air_c)
        if key not in self.known:
            at, to = conditions_of(key[0], self.meters.get(key[0]), touched.air_c), self.to
            # one meter against itself: whatever its current is, it is the same
            from_ma = to.current_ma if at.meter_id == to.meter_id else at.current_ma
            self.known[key] = at, from_ma, (to.current_ma - from_ma, math.log(to.current_ma / from_ma))
        return self.known[key]


def _cell(path: Path | None, by_board: dict[str, list[Touched]], taken: _Taken) -> ReferenceCell:
    to = taken.to
    boards: list[str] = []
    values: list[float] = []
    moves: list[float] = []
    taken_at: list[Conditions] = []
    as_read: list[tuple[float, bool]] = []
    over_boards: list[str] = []
    climbs = noted = same = 0
    steps: list[tuple[float, float]] = []
    for name, touches in sorted(by_board.items()):
        carried: list[float] = []
        shown: list[float] = []
        at, step, same_before = to, (0.0, 0.0), same
        for touched in touches:
            reading, value, _ = touched
            noted += reading.steadiness is not None
            climbs += reading.steadiness == "climbs"
            if not isinstance(value, Drop):
                continue
            at, from_ma, step = taken.of(touched)
            same += at.meter_id == to.meter_id
            carried.append(carry(value.drop_mv, path, from_ma, at.air_c, to.current_ma, to.air_c))
            shown.append(value.drop_mv)
            moves.append(carried[-1] - value.drop_mv)
        if not shown:
            over_boards.append(name)
            continue
        boards.append(name)
        steps.append(step)
        taken_at.append(at)
        values.append(math.fsum(carried) / len(carried))
        as_read.append((math.fsum(shown) / len(shown), same - same_before == len(shown)))
    count = max(len(moves), 1)
    return ReferenceCell(
        boards,
        values,
        taken_at,
        steps,
        len(over_boards),
        climbs,
        noted,
        math.fsum(moves) / count,
        same / count,
        math.fsum(step[1] for step in steps) / max(len(steps), 1),
        tuple(as_read),
        tuple(over_boards),
    )


def spread_within_nets(
    nets: list[list[int]], cells: dict[tuple[int, str], ReferenceCell], lead: str
) -> dict[int, float]:
    """How far each contact of a rail strays from its rail's mean on healthy boards, in mV.

    The prior is that contacts of one rail read alike; boards that say otherwise are believed.
    """
    spreads: dict[int, float] = {}
    prior = REFERENCE_DF * NET_FOLLOWER_SD_MV * NET_FOLLOWER_SD_MV
    for members in nets:
        told = {
            contact: dict(zip(cell.boards, cell.values, strict=True))
            for contact in members
            if (cell := cells.get((contact, lead))) is not None
        }
        offsets: dict[int, list[float]] = {contact: [] for contact in told}
        for board in sorted({board for values in told.values() for board in values}):
            here = [(contact, values[board]) for contact, values in told.items() if board in values]
            mean = math.fsum(value for _, value in here) / len(here)
            for contact, value in here:
                offsets[contact].append(value - mean)
        for contact, strays in offsets.items():
            if len(strays) > 1:
                middle = math.fsum(strays) / len(strays)
                total = math.fsum((stray - middle) * (stray - middle) for stray in strays)
                spreads[contact] = math.sqrt((prior + total) / (REFERENCE_DF + len(strays) - 1))
    return spreads
