"""What a low reading means in ohms at its own contact, and how small a leak this meter misses: between the
judgement (`verdicts`) and the circuit behind the contact (`circuit`).

The circuit is drawn from the contact's path, or its role where no path was told, and moved to read what a healthy
contact reads in this session; where no circuit is near that reading, the plain words of `wording` stand instead.
"""

import math

from server.engine import wording, wording_ohms
from server.engine.bands import Healthy, noise_sd
from server.engine.circuit.anchored import anchored, with_junctions_of
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.meaning import Doubts, what_it_means
from server.engine.circuit.parts import forced_current
from server.engine.circuit.readings import prepared as solvable
from server.engine.constants.circuit import LEAST_SHARE_LEFT, TWO_SIDED_95
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.sessions import CURRENT_SD_KNOWN, SERIES_PART_SD
from server.engine.errors import SheetError
from server.engine.faulted import View, behind, leak_ohm
from server.engine.roles import first_series
from server.engine.second_current import Second, leak_found, smallest_leak_shown
from shared_models.board import BoardVersion, Contact
from shared_models.opinion import Reason


def low_in_ohms(
    board: BoardVersion,
    one: Contact,
    drop_mv: float,
    view: View,
    ideality_share: float,
    air_c: float,
    current_sd: float,
) -> Reason:
    """A low number in ohms: what is left behind each part passed, if the circuit is known; else as one leak.

    `ideality_share`: how well n of what conducts here is known, as a share; `current_sd` the same of the test current.
    """
    told = _by_circuit(board, one, drop_mv, view, Doubts(current_sd, ideality=ideality_share), air_c)
    return told if told is not None else plainly_in_ohms(one, drop_mv, view, current_sd)


def plainly_in_ohms(one: Contact, drop_mv: float, view: View, current_sd: float = CURRENT_SD_KNOWN) -> Reason:
    """A low number in ohms without the circuit: behind the part in series where it can lie there, else as the leak."""
    series = first_series(one)
    if series is not None and series.ohm is not None:
        left = _left_behind(drop_mv, series.ohm, view, current_sd)
        if left is not None:
            return wording_ohms.ohms_left(one.number, drop_mv, view.current_ma, series.part, series.ohm, left)
    leak = leak_ohm(drop_mv, view)
    return wording.as_ohms(one.number, leak if leak is not None else drop_mv / view.current_ma)


def _left_behind(
    drop_mv: float, part_ohm: float, view: View, current_sd: float
) -> tuple[float, float, float | None] | None:
    """(ohm, low, high) to ground behind a part in series, 95 %; None where nothing behind it reads so low."""
    there = behind(view._replace(before_ohm=part_ohm, before_sd_ohm=0.0))
    there_mv = drop_mv - part_ohm * view.current_ma
    ohm = leak_ohm(there_mv, there)
    if ohm is None:
        return None
    own = noise_sd(drop_mv, view.current_ma, same_meter=True)
    taken = math.hypot(own, SERIES_PART_SD * part_ohm * view.current_ma, current_sd * drop_mv)
    # of a shift of the healthy reading so much is left beside the leak: its slope against the junction's
    left = max(LEAST_SHARE_LEFT, 1 - there_mv / (ohm * view.current_ma))
    slope_ohm = view.junction_mv / (left * view.current_ma)
    half = TWO_SIDED_95 * math.hypot(taken, ohm / (ohm + slope_ohm) * spread_of(view))
    low, high = leak_ohm(there_mv - half, there), leak_ohm(there_mv + half, there)
    return ohm, low or 0.0, high


def spread_of(view: View) -> float:
    """Standard deviation of a healthy reading, mV: of Student's t, which is wider than its scale."""
    return view.scale * math.sqrt(view.df / (view.df - 2)) if view.df > 2 else view.scale


def _by_circuit(
    board: BoardVersion, one: Contact, drop_mv: float, view: View, doubts: Doubts, air_c: float
) -> Reason | None:
    """By the circuit; None where there is none, or none that reads like this contact."""
    circuit = circuit_behind(one, board)
    if circuit is None or view.ol_odds > 0.5 or drop_mv <= 0:
        return None
    try:
        meter = forced_current(view.current_ma, view.limit_mv)
        of_its_n = with_junctions_of(solvable(circuit, air_c), view.junction_mv, view.current_ma)
        ready = anchored(of_its_n, meter, "red", view.loc)
        if ready is None:
            return None
        doubts = doubts._replace(healthy_mv=spread_of(view))
        return wording_ohms.means(one.number, what_it_means(ready, meter, "red", drop_mv, doubts), circuit)
    except SheetError:
        return None  # outside what the circuit is good for: the plain words stand


def smallest_leak_missed(view: View, band: Healthy) -> float | None:
    """The leak at which the reading is three predictive deviations low, in ohms: a lighter one does not show.

    None where no leak shows or nothing conducts.
    """
    if view.ol_odds > 0.5 or band.path is None:
        return None
    return leak_ohm(view.loc - VERDICT_Z_RETOUCH * view.scale, view)


def would_not_show_at(one: Contact, view: View, band: Healthy) -> Reason | None:
    """How large a leak would pass unseen at a contact read as healthy; None where no drop shows a leak at all."""
    if view.ol_odds > 0.5 or band.path is None:
        return None
    return wording_ohms.would_not_show(one.number, smallest_leak_missed(view, band))


def pair_in_ohms(one: Contact, drop_mv: float, view: View, second: Second, *, low: bool) -> Reason | None:
    """What two currents of one contact say together: how large the leak is that makes it `low`, or which would show.

    None where one of the two is OL, or no leak explains a low one.
    """
    if second.drop_mv is None:
        return None
    if not low:
        shown = smallest_leak_shown(drop_mv, view, second, VERDICT_Z_RETOUCH)
        return None if shown is None else wording_ohms.pair_sees_none(one.number, drop_mv, second, shown)
    found = leak_found(drop_mv, view, second)
    if found is None:
        return None
    return wording_ohms.pair_sees_leak(one.number, drop_mv, second, found)
