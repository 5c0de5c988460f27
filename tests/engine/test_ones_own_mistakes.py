"""Two mistakes of one's own: another meter than was told, and voltage left on the board.

The readings are healthy boards' with the mistake put in by a diode equation written out here.
"""

import itertools
import math

import pytest
from msgspec.structs import replace

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.meters import BENCH_METER
from demo.shop.references import T10_ON_THE_SCALE, climbing
from demo.shop.table import OL, T10_J7
from server.engine.common_fit import Point, fit_common
from server.engine.constants.sessions import SESSION_FAULT_SHARES
from server.engine.door import form_opinion
from server.engine.fit_arrow import Prior
from server.engine.meters import carry
from server.engine.roles import Path
from shared_models.opinion import NextTouch, Opinion
from shared_models.reading import AtTestPoint
from shared_models.sheet import BenchSheet

HEALTHY = T10_J7.typed("ref_mean")
SERIES_OHM = {"20": 22, "22": 22, "14": 33, "28": 33}
CLIMBS = climbing(T10.sockets[0])


def read_at(current_ma: float) -> dict[str, str]:
    """What a healthy T10 reads at another current: a junction of n 1.25 at 23 C, 5 ohm, and its own resistor."""
    typed = {}
    for contact, text in HEALTHY.items():
        if text in (OL, "0", "1"):
            typed[contact] = text
            continue
        ohm = 5 + SERIES_OHM.get(contact, 0)
        typed[contact] = str(round(float(text) + 1.25 * 25.52 * math.log(current_ma) + ohm * (current_ma - 1)))
    return typed


def bench() -> Bench:
    return Bench("mistake", T10, T10_ON_THE_SCALE, BENCH_METER, start_ms=1_743_000_000_000, by="Ines")


def sheet_of(own: Bench, typed: dict[str, str], *, main_mv: float = 3) -> BenchSheet:
    safe = own.pen.made_safe(main_mv=main_mv, main_at="C12", led_mv=2, led_at="C88")
    return own.sheet(make_safe=safe, readings=own.pen.sweep(typed, CLIMBS))


def odds(opinion: Opinion, kind: str) -> float:
    """Of the stories shown: those of this kind, and those it stands beside."""
    own = sum(one.odds for one in opinion.stories if one.kind == kind)
    beside = sum(
        one.odds * one.second_odds for one in opinion.stories if one.second is not None and one.second.startswith(kind)
    )
    return own + beside


def proposed(opinion: Opinion, name: str) -> list[NextTouch]:
    return [one for one in opinion.next if isinstance(one.touch, AtTestPoint) and name in one.touch.name]


# ---- the meter ----------------------------------------------------------------------------------


def test_the_further_the_readings_are_from_what_the_sheet_says_the_likelier_is_another_meter() -> None:
    found = [odds(form_opinion(sheet_of(bench(), read_at(ma))), "meter_differs") for ma in (1.0, 1.15, 1.3, 1.6)]
    assert found[0] < 0.02
    # up to where it is as good as sure
    assert all(later > earlier or later > 0.95 for earlier, later in itertools.pairwise(found))
    assert found[-1] > 0.9
    low = [odds(form_opinion(sheet_of(bench(), read_at(ma))), "meter_differs") for ma in (1.0, 0.7, 0.45, 0.3)]
    assert all(later > earlier or later > 0.95 for earlier, later in itertools.pairwise(low))
    assert low[-1] > 0.9


def test_no_healthy_contact_is_called_on_a_meter_that_differs_and_its_current_is_found() -> None:
    opinion = form_opinion(sheet_of(bench(), read_at(1.9)))
    assert opinion.stories[0].kind == "meter_differs"
    assert [one.contact for one in opinion.contacts if one.verdict in ("short", "low", "high", "open")] == []
    assert "session_differs" in [reason.code for reason in opinion.session.reasons]
    assert opinion.decisions[0].kind == "redo_reading"
    assert opinion.decisions[0].subject == "meter"


def test_a_known_resistor_is_proposed_and_what_it_shows_settles_it() -> None:
    own = bench()
    sheet = sheet_of(own, read_at(1.5))
    before = form_opinion(sheet)
    touch = proposed(before, "known resistor")
    assert touch
    assert "470 mV" in touch[0].reasons[0].sentence
    resistor = AtTestPoint(name="known resistor 470 ohm")
    differs = own.then(sheet, "r1", own.pen.reading(resistor, "705", "drop", "mV", lead_on_ground=None))
    as_told = own.then(sheet, "r2", own.pen.reading(resistor, "471", "drop", "mV", lead_on_ground=None))
    told, untold = form_opinion(differs), form_opinion(as_told)
    assert odds(told, "meter_differs") > odds(before, "meter_differs") > odds(untold, "meter_differs")
    assert not told.set_aside, "it moved the odds, so it is not named as idle"
    assert not proposed(told, "known resistor"), "measured once, not asked again"


def test_another_meter_stands_beside_a_fault_and_does_not_hide_it() -> None:
    opinion = form_opinion(sheet_of(bench(), read_at(1.9) | {"28": "140"}))
    by_number = {one.contact: one for one in opinion.contacts}
    assert by_number["28"].verdict == "low"
    assert odds(opinion, "meter_differs") > 0.5
    assert opinion.stories[0].kind != "meter_differs"
    assert (opinion.stories[0].second or "").startswith("meter_differs")


PLAIN = Path(1.25, 0.0, 0.0, True)


def points_at(current_ma: float) -> list[Point]:
    """Six healthy contacts with a little scatter of their own, read with that current."""
    scatter = (-4.0, 0.0, 3.0, 4.0, -2.0, 1.0)
    return [
        Point(at, carry(at, PLAIN, 1.0, 23.0, current_ma, 23.0) + off, 5.0, PLAIN)
        for at, off in zip((330.0, 400.0, 460.0, 520.0, 560.0, 610.0), scatter, strict=True)
    ]


def brute_force_log_evidence(points: list[Point], prior: Prior) -> float:
    """ln of the integral over log current and kelvin, on a grid, of the readings' density times the prior's."""
    steps, total = 241, 0.0
    for i in range(steps):
        a = prior.current_sd * 12 * (i / (steps - 1) - 0.5)
        for j in range(steps):
            k = prior.air_sd_k * 12 * (j / (steps - 1) - 0.5)
            by_share = []
            for share in SESSION_FAULT_SHARES:
                logs = 0.0
                for one in points:
                    read = carry(one.expected_mv, PLAIN, 1.0, 23.0, math.exp(a), 23.0 + k)
                    z = (one.read_mv - read) / one.scale_mv
                    low = read - one.read_mv
                    # four fifths of faults are low, even in the logarithm from 3 to 400 mV; the rest anywhere
                    fault = 0.2 / 800 + (0.8 / math.log(400 / 3) / max(low, 3.0) if 0 < low < 400 else 0.0)
                    healthy = math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) / one.scale_mv
                    logs += math.log((1 - share) * healthy + share * fault)
                by_share.append(math.exp(logs))
            weight = math.exp(-0.5 * ((a / prior.current_sd) ** 2 + (k / prior.air_sd_k) ** 2))
            total += weight * math.fsum(by_share) / len(by_share)
    cell = (12 * prior.current_sd / (steps - 1)) * (12 * prior.air_sd_k / (steps - 1))
    return math.log(total * cell / (2 * math.pi * prior.current_sd * prior.air_sd_k))


@pytest.mark.parametrize("current_ma", [1.0, 1.3])
def test_the_factor_is_the_ratio_of_two_integrals(current_ma: float) -> None:
    points, small = points_at(current_ma), 1e-3
    told, untold = Prior(1.0, 23.0, 0.1, 3.0, small), Prior(1.0, 23.0, 0.66, 10.0, small)
    found = [fit_common(points, one, [(0.0, 0.0)], 12).evidence for one in (told, untold)]
    want = [brute_force_log_evidence(points, one) for one in (told, untold)]
    # Laplace's approximation of a density that is nearly Normal
    assert found[1] - found[0] == pytest.approx(want[1] - want[0], abs=0.25)


def test_a_handful_of_readings_says_nothing_of_the_meter() -> None:
    few = dict(list(read_at(1.9).items())[:3])
    opinion = form_opinion(sheet_of(bench(), few))
    assert odds(opinion, "meter_differs") < 0.1


# ---- voltage left ---------------------------------------------------------------------------------


def test_rails_that_read_low_and_fall_raise_it_and_a_residue_at_the_proof_does_so_too() -> None:
    quiet = odds(form_opinion(sheet_of(bench(), HEALTHY)), "still_powered")
    shifted = HEALTHY | {"4": "330", "6": "329", "8": "270"}
    low = odds(form_opinion(sheet_of(bench(), shifted)), "still_powered")
    assert low > quiet
    with_residue = odds(form_opinion(sheet_of(bench(), shifted, main_mv=90)), "still_powered")
    assert with_residue > low
    falling = sheet_of(bench(), shifted)
    rows = tuple(
        replace(one, steadiness="falls") if getattr(one.touch, "contact", "") in ("4", "8") else one
        for one in falling.readings
    )
    assert odds(form_opinion(replace(falling, readings=rows)), "still_powered") > low


def test_a_rail_proved_dead_that_reads_low_and_the_same_at_each_contact_leaks_sooner_than_it_holds_a_charge() -> None:
    # the meter's own current moves a charge between two touches: 1 mA, 10 uF, 100 mV each millisecond
    opinion = form_opinion(sheet_of(bench(), HEALTHY | {"4": "330", "6": "330"}))
    assert (opinion.stories[0].kind, opinion.stories[0].subject) == ("rail_short", "3V3D")
    assert odds(opinion, "still_powered") < 0.25


def test_a_number_below_zero_leads_to_volts_at_the_stores_and_nothing_else() -> None:
    opinion = form_opinion(sheet_of(bench(), HEALTHY | {"4": "-35"}))
    assert opinion.stories[0].kind == "still_powered"
    assert [(one.kind, one.touch) for one in opinion.next] == [
        ("volts", AtTestPoint(name="C12")),
        ("volts", AtTestPoint(name="C88")),
    ]
    assert [one.code for one in opinion.reminders if one.blocks] == ["still_powered"]
    assert opinion.decisions[0].kind == "redo_reading"


def test_volts_found_prove_it_and_millivolts_at_both_stores_clear_it() -> None:
    own = bench()
    sheet = sheet_of(own, HEALTHY | {"4": "-35"})
    asked = form_opinion(sheet)
    found = form_opinion(
        own.then(sheet, "v1", own.pen.reading(AtTestPoint(name="C12"), "0.41", "volts", "V", lead_on_ground="red"))
    )
    assert odds(found, "still_powered") > odds(asked, "still_powered")
    gone = own.then(
        sheet,
        "v2",
        own.pen.reading(AtTestPoint(name="C12"), "2", "volts", "mV"),
        own.pen.reading(AtTestPoint(name="C88"), "1", "volts", "mV"),
    )
    assert odds(form_opinion(gone), "still_powered") < odds(asked, "still_powered")


def test_a_proof_taken_after_the_number_below_zero_opens_the_readings_again() -> None:
    own = bench()
    sheet = sheet_of(own, HEALTHY | {"4": "-35"})
    proved = replace(
        sheet, make_safe=(*sheet.make_safe, own.pen.proof("main_rail_proved", measured_mv=2, at_place="C12"))
    )
    opinion = form_opinion(proved)
    assert "still_powered" not in [one.code for one in opinion.reminders]
    assert opinion.stories[0].kind != "still_powered"


def test_what_reads_odd_under_voltage_is_not_judged_and_what_reads_healthy_is() -> None:
    opinion = form_opinion(sheet_of(bench(), HEALTHY | {"4": "-35", "6": "300", "8": "210"}))
    by_number = {one.contact: one for one in opinion.contacts}
    assert by_number["8"].verdict == "unread"
    assert [reason.code for reason in by_number["8"].reasons] == ["still_powered"]
    assert by_number["3"].verdict == "expected"


def test_a_battery_noted_as_connected_raises_it() -> None:
    plain = sheet_of(bench(), HEALTHY)
    noted = replace(plain, readings=tuple(replace(one, conditions=("battery_connected",)) for one in plain.readings))
    assert odds(form_opinion(noted), "still_powered") > odds(form_opinion(plain), "still_powered")
