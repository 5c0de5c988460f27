"""What a meter's own page says, on simulated meters: a sheet from known resistors, and two meters beside each other.

Sheets: resistors of one tolerance, even within it, each touched once. Pairs: a healthy board's contacts, by the closed
forms (a test holds them to ngspice), each touched once with either meter on the same day. Touches fail as everywhere.
"""

import random
from typing import Any

from server.engine.errors import SheetError
from server.engine.meter_doors import meter_pair, meter_sheet
from shared_models.meters import MeterPairQuestion, MeterSheetQuestion, ResistorShown, SameContact
from tests.support.bench import tables as t
from tests.support.bench.ideal_physics import reading_mv
from tests.support.bench.sockets import plans
from tests.support.bench.touching import shown
from tests.support.bench.truth import Session, draw_board, draw_kind, draw_session

METERS = 2000


def meter_rows(seed: int, count: int = METERS) -> list[dict[str, Any]]:
    """So many sheets and so many pairs."""
    told = []
    for n in range(count):
        told.append(_sheet(random.Random(f"{seed}/meter sheet/{n}")))
        told.append(_pair(random.Random(f"{seed}/meter pair/{n}")))
    return told


def _display(rng: random.Random, mv: float, session: Session) -> str:
    read = shown(rng, mv, [], session)
    return "OL" if read is None else str(read)


def _sheet(rng: random.Random) -> dict[str, Any]:
    """One sheet: how many of its own deviations current and zero lie from the true ones."""
    session = draw_session(rng)
    tolerance = rng.choice(t.RESISTOR_TOLERANCES_PCT)
    chosen = sorted(rng.sample(t.RESISTORS_OHM, rng.randint(*t.RESISTORS_TRIED)))
    resistors = []
    for ohm in chosen:
        true_ohm = ohm * (1 + rng.uniform(-tolerance, tolerance) / 100)
        across = _display(rng, session.current_ma * true_ohm, session)
        resistors.append(ResistorShown(resistor_ohm=ohm, shown=across, tolerance_pct=tolerance))
    row: dict[str, Any] = {"what": "sheet", "tolerance_pct": tolerance, "touched": len(chosen), "refused": ""}
    try:
        told = meter_sheet(MeterSheetQuestion(resistors=tuple(resistors)))
    except SheetError as refused:
        return row | {"refused": refused.problem.code}
    sd_ma = told.test_current_ma * told.test_current_sd_pct / 100
    zero_mv = session.offset_mv + session.current_ma * t.PROBE_OHM
    return row | {
        "current_off_sd": round((told.test_current_ma - session.current_ma) / sd_ma, 4),
        "current_sd_pct": told.test_current_sd_pct,
        "zero_off_sd": round((told.offset_mv - zero_mv) / told.offset_sd_mv, 4),
        "zero_sd_mv": told.offset_sd_mv,
    }


def _pair(rng: random.Random) -> dict[str, Any]:
    """One pair: whether its interval holds the ratio of the true currents, and how far off the second's current is."""
    plan = rng.choice(plans())
    kind = draw_kind(rng, plan)
    board, first, drawn = draw_board(rng, kind), draw_session(rng), draw_session(rng)
    healthy = [contact for contact, line in enumerate(plan.lines) if line.conducts]
    chosen = sorted(rng.sample(healthy, min(len(healthy), rng.randint(*t.PAIR_CONTACTS))))
    contacts = []
    for contact in chosen:
        line = plan.lines[contact]
        ohm = t.BULK_OHM + t.HEALTHY[line.role].series_ohm
        both = [
            _display(
                rng,
                float(
                    reading_mv(
                        board.junction_mv[contact] or 0.0, kind.ideality[line.chip], ohm, one.current_ma, first.celsius
                    )
                ),
                one,
            )
            for one in (first, drawn)
        ]
        contacts.append(SameContact(contact=line.number, first_shown=both[0], second_shown=both[1]))
    row: dict[str, Any] = {"what": "pair", "touched": len(chosen), "refused": ""}
    question = MeterPairQuestion(
        contacts=tuple(contacts), first_current_ma=first.told_current_ma,
        first_current_sd_pct=100 * t.SHEET_CURRENT_SD, air_c=round(first.told_air_c, 1),
    )  # fmt: skip
    try:
        told = meter_pair(question)
    except SheetError as refused:
        return row | {"refused": refused.problem.code}
    sd_ma = told.second_current_ma * (told.second_current_sd_pct or 0.0) / 100
    return row | {
        "covered": told.ratio_low <= drawn.current_ma / first.current_ma <= told.ratio_high,
        "width_pct": round(100 * (told.ratio_high - told.ratio_low) / told.ratio, 3),
        "current_off_sd": round((told.second_current_ma - drawn.current_ma) / sd_ma, 4) if sd_ma else None,
    }
