"""Ways of going on, side by side: what each brings the device and the data, what it costs, and in which order.

The order is by p / C, the chance that this alone is the mend per its cost (Kadane and Simon 1975): best where one fault
is to be found, each way is tried by itself and its cost does not depend on the order; where two faults are likely
that is said, and each way counts by its own part. When data matter what cannot be undone comes last, whatever its
p / C. Also runs on the phone.
"""

from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.bench_time import worked_minutes
from server.engine.chances import Weighed
from server.engine.constants.chances import (
    DONOR,
    OPTION_ROWS,
    OVER_REACH,
    POWER_UP_HARM,
    RESCUES,
    SET_MOVED,
    SPECIALIST,
    TWO_FAULTS,
)
from server.engine.constants.papers import MIN_PER_H
from server.engine.mends import Branch
from server.engine.rates import moments
from server.engine.reach import MENDING, about, beside, does_its_part, is_own, mended_by
from server.engine.rounding import plain, probability, rate
from server.engine.wording_chances import in_tens
from server.engine.wording_options import GOES_WRONG, TITLES, heading, order_reasons, way_reasons
from shared_models.chances import Option, OptionKind, Options
from shared_models.closing import OptionFigure, ShopFigures
from shared_models.sheet import BenchSheet

LEAVES_THE_BENCH = ("specialist", "stop")
STANDS = ("helps", "data_first", "in_part", "not_undone", "helps_not", "stop")
"""In which order: what helps; with data a specialist, what helps only beside others, then what cannot be undone; the
rest; to stop."""


class Brings(NamedTuple):
    """What a way brings, before it has a price."""

    kind: OptionKind
    row: str
    device: float
    data: float | None
    about: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]] = ((), (), ())
    part: float = 0.0
    beside: tuple[OptionKind, ...] = ()


class Way(NamedTuple):
    """An option before it is ranked: what it brings, and its cost in money or, without the shop's figures, in hours.

    `part`: that it mends what it is for, where `beside` names ways that are needed as well.
    """

    kind: OptionKind
    row: str
    about: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]
    device: float
    data: float | None
    part: float
    beside: tuple[OptionKind, ...]
    hours: float
    hours_own: bool
    whole_cost: float | None


def options_of(sheet: BenchSheet, board: Board, branches: list[Branch], weighed: Weighed, lows: bool) -> Options:
    """The ways of going on in the order to try them. `lows`: a low line is not explained."""
    figures = sheet.figures
    ways = [_priced(figures, one) for one in _ways(board, branches, weighed, lows)]
    data_matters = sheet.intake.data_matters != "no" and weighed.data is not None
    by_cost = all(way.whole_cost is not None for way in ways)
    two = _two_faults(branches)
    ranked = sorted(ways, key=lambda way: _rank(way, by_cost, data_matters, two > TWO_FAULTS))
    worked = worked_minutes(sheet)
    return Options(
        ways=tuple(_shown(sheet, way, weighed, worked, data_matters) for way in ranked),
        order=order_reasons(by_cost, two if two > TWO_FAULTS else None, data_matters, sheet.intake.data_matters),
        own_figures=figures is not None and (figures.hour_cost is not None or bool(figures.options)),
        by_cost=by_cost,
        currency=figures.currency if figures is not None else "",
        limit_cost=sheet.limit_cost,
        limit_work_min=sheet.limit_work_min,
        worked_min=plain(worked),
    )


def _ways(board: Board, branches: list[Branch], weighed: Weighed, lows: bool) -> list[Brings]:
    data = weighed.data.odds if weighed.data is not None else None
    found: list[Brings] = []
    for kind in MENDING:
        row = "replace_chip" if kind == "replace_part" and _a_chip(branches) else kind
        harm = OPTION_ROWS[row].harm + (POWER_UP_HARM if lows and kind == "other_module" else 0.0)
        found.append(
            Brings(
                kind,
                row,
                mended_by(branches, weighed, kind),
                None if data is None else data * (1 - harm),
                about(board, branches, kind),
                does_its_part(branches, weighed, kind),
                beside(branches, kind),
            )
        )
    module = _weight(branches, ("module",))
    donor = (1 - module) * moments(DONOR).mean
    found.append(Brings("donor_board", "donor_board", donor, _data_with_donor(weighed)))
    if weighed.storage.kind in ("sealed_to_chip", "soldered", "not_known"):
        living = _data_lives(branches, weighed)
        moved = moments(SET_MOVED).mean
        found.append(Brings("move_data_set", "move_data_set", (1 - module) * moved * living, moved * living))
    found.append(Brings("specialist", "specialist", 0.0, _with_specialist(branches, weighed)))
    found.append(Brings("stop", "stop", _as_it_is(branches, weighed), None))
    return found


def _as_it_is(branches: list[Branch], weighed: Weighed) -> float:
    """That it works with nothing mended: all that is hurt is a chip of the data, whose lines are given up."""
    total = 0.0
    for one in branches:
        chance = one.weight * weighed.harmed.mean
        for fault in one.faults:
            chance *= weighed.known[fault.kind]["left"].mean if is_own(fault) else 0.0
        total += chance
    return total


def _a_chip(branches: list[Branch]) -> bool:
    return any(fault.kind in ("chip", "cracked") for fault in branches[0].faults)


def _weight(branches: list[Branch], kinds: tuple[str, ...]) -> float:
    total = 0.0
    for one in branches:
        total += one.weight if any(fault.kind in kinds for fault in one.faults) else 0.0
    return total


def _data_with_donor(weighed: Weighed) -> float | None:
    """A donor board brings the machine back and not the data, unless the drive comes out and goes along."""
    if weighed.data is None:
        return None
    return moments(RESCUES["removable"]).mean if weighed.storage.kind == "removable" else 0.0


def _data_lives(branches: list[Branch], weighed: Weighed) -> float:
    """That the chips of the data themselves live."""
    total = 0.0
    for one in branches:
        chance = one.weight * weighed.harmed.mean
        for fault in one.faults:
            chance *= weighed.known[fault.kind]["starts"].mean if is_own(fault) else 1.0
        total += chance
    return total


def _with_specialist(branches: list[Branch], weighed: Weighed) -> float | None:
    """What is had by starting the board, else what a specialist still gets; chips of the data that died stay dead."""
    if weighed.data is None:
        return None
    lives = _data_lives(branches, weighed)
    had = min(weighed.data.odds, lives)
    return had + max(0.0, lives - had) * moments(SPECIALIST).mean


def _priced(figures: ShopFigures | None, brings: Brings) -> Way:
    """With the shop's own parts and hours; never a price that nobody gave."""
    own = _figure(figures, brings.kind)
    hours = own.work_h if own is not None and own.work_h is not None else OPTION_ROWS[brings.row].hours
    hour_cost = figures.hour_cost if figures is not None else None
    parts = own.parts_cost if own is not None else None
    cost = None if hour_cost is None else hours * hour_cost + (parts or 0.0)
    return Way(
        brings.kind, brings.row, brings.about, brings.device, brings.data, brings.part, brings.beside, hours,
        own is not None and own.work_h is not None, cost,
    )  # fmt: skip


def _figure(figures: ShopFigures | None, kind: str) -> OptionFigure | None:
    rows = [one for one in figures.options if one.option == kind] if figures is not None else []
    return rows[-1] if rows else None


def _rank(way: Way, by_cost: bool, data_matters: bool, two_faults: bool) -> tuple[int, float, str]:
    """Where a way stands: by p / C; with data, what cannot be undone after all else; what brings nothing last."""
    cost = way.whole_cost if by_cost and way.whole_cost is not None else way.hours
    per_cost = p_per_cost(way.part if two_faults and way.beside else way.device, cost)
    undoable = OPTION_ROWS[way.row].undone != "no"
    if way.kind == "stop":
        return (STANDS.index("stop"), 0.0, way.kind)
    if way.kind == "specialist":
        return (STANDS.index("data_first" if data_matters else "helps_not"), 0.0, way.kind)
    if data_matters and (not undoable or way.kind == "donor_board"):
        return (STANDS.index("not_undone"), -rate(per_cost), way.kind)
    if data_matters and way.beside and way.device < OVER_REACH:
        return (STANDS.index("in_part"), -rate(per_cost), way.kind)
    return (STANDS.index("helps" if _helps(way) else "helps_not"), -rate(per_cost), way.kind)


def p_per_cost(chance: float, cost: float) -> float:
    """What ways are ranked by, the largest first; of what costs nothing the likeliest is first."""
    return chance / cost if cost > 0 else chance / OVER_REACH


def _helps(way: Way) -> bool:
    return way.device >= OVER_REACH or way.kind in LEAVES_THE_BENCH or way.beside != ()


def _two_faults(branches: list[Branch]) -> float:
    """How likely more than one thing must be mended; a chip of the data that is left alone counts too."""
    total = 0.0
    for one in branches:
        total += one.weight if len(one.faults) > 1 else 0.0
    return total


def _tens(odds: float) -> str:
    """A chance in words; one that is printed as nothing is none, whatever is in its last bits."""
    return in_tens(odds) if probability(odds) > 0 else "none"


def _shown(sheet: BenchSheet, way: Way, weighed: Weighed, worked_min: float, data_matters: bool) -> Option:
    row = OPTION_ROWS[way.row]
    left_min = None if sheet.limit_work_min is None else sheet.limit_work_min - worked_min
    return Option(
        kind=way.kind,
        title=TITLES[way.row],
        heading=heading(way.row, *way.about),
        about=tuple(one for named in way.about for one in named),
        beside=way.beside,
        device_odds=probability(way.device),
        device_in_tens=_tens(way.device),
        data_odds=None if way.data is None else probability(way.data),
        data_in_tens="" if way.data is None else _tens(way.data),
        work_h=plain(way.hours),
        work_h_from="shop" if way.hours_own else "common_practice",
        whole_cost=None if way.whole_cost is None else plain(way.whole_cost),
        over_cost=way.whole_cost is not None and sheet.limit_cost is not None and way.whole_cost > sheet.limit_cost,
        over_time=left_min is not None and way.kind not in LEAVES_THE_BENCH and way.hours * MIN_PER_H > left_min,
        undone=row.undone,
        goes_wrong=GOES_WRONG[way.row],
        helps=_helps(way),
        reasons=way_reasons(way.kind, row.undone, weighed.storage.kind, data_matters, way.beside),
    )
