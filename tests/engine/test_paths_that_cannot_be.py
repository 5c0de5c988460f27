"""Paths as people type them: what a clamp before a part in line hides, and values that healthy boards speak against."""

import pytest
from msgspec.structs import replace

from server.engine.circuit.anchored import anchored
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.parts import forced_current
from server.engine.circuit.readings import prepared as solvable
from server.engine.circuit.readings import read
from server.engine.door import form_opinion
from server.engine.faulted import joined_mv
from server.engine.meters import carry
from server.engine.roles import path_of
from shared_models.board import ChipPin, Part, PathElement, SeriesPart, ShuntPart
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.reading import LeadOnGround, Meter
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, board_of, line, nine_boards, sheet_of, touched

LANES = tuple(str(n) for n in range(2, 8))
MEANS = {"1": 0.5, **{n: 330.0 + 3 * int(n) for n in LANES}, "8": 520.0}
PARTS = (Part(ref="D8", kind="esd_array"), Part(ref="U1", kind="chip"))
END = ChipPin(part="U1", pin="A1")


def behind_a_clamp(ohm: float) -> tuple[PathElement, ...]:
    return ShuntPart(part="D8"), SeriesPart(part="R1", ohm=ohm), END


def sheet(path: tuple[PathElement, ...], reads: float, *, meters: tuple[Meter, ...] = (BENCH_METER,)) -> BenchSheet:
    """Eight contacts; the last, 8, has this path, reads this twice, and 520 mV on nine healthy boards."""
    lines = (*(line(n, "lane", leads_to="U2") for n in LANES), line("8", "control", path=path))
    board = board_of([line("1", "ground"), *lines], parts=PARTS)
    drops: dict[str, str | float] = {**{n: round(mv) for n, mv in MEANS.items()}, "8": reads}
    again = touched({"8": reads}, prefix="again", start_ms=1_745_000_900_000)
    return sheet_of(board, (*touched(drops), *again), known=nine_boards(MEANS), meters=meters)


def contact(opinion: Opinion) -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == "8")


# ---- a part in line behind a clamp ---------------------------------------------------------------------


@pytest.mark.parametrize("ohm", [33.0, 300.0, 1000.0, 10_000.0])
@pytest.mark.parametrize("to_ma", [0.2, 0.5, 2.0])
def test_behind_a_clamp_a_part_moves_a_healthy_reading_by_what_the_circuit_says(ohm: float, to_ma: float) -> None:
    """A clamp, then the part, then a chip; carried from 1 mA by the path and solved node by node: within 11 mV."""
    one = line("8", "control", path=behind_a_clamp(ohm))
    board = board_of([one], parts=PARTS)
    circuit = circuit_behind(one, board)
    path = path_of(one, {part.ref: part for part in PARTS})
    assert circuit is not None
    assert path is not None
    ready = anchored(solvable(circuit, 23.0), forced_current(1.0), "red", 520.0)
    assert ready is not None
    shown = read(ready, forced_current(to_ma), "red", short_way=False).drop_mv
    assert shown == pytest.approx(carry(520.0, path, 1.0, 23.0, to_ma, 23.0), abs=11.0)


@pytest.mark.parametrize("lead", ["red", "black"])
def test_a_clamp_to_a_net_that_the_board_calls_ground_is_one_to_ground(lead: LeadOnGround) -> None:
    parts = {part.ref: part for part in PARTS}
    path = behind_a_clamp(1000.0)
    named = tuple(replace(element, to_net="VSS") if isinstance(element, ShuntPart) else element for element in path)
    plain, other = (line("8", "control", path=one) for one in (path, named))
    assert named != path
    assert path_of(other, parts, ("VSS",), lead) == path_of(plain, parts, ("VSS",), lead)
    assert path_of(other, parts, (), lead) != path_of(plain, parts, (), lead)


@pytest.mark.parametrize("reads", [510.0, 515.0, 525.0])
def test_a_line_with_a_kilohm_behind_its_clamp_is_healthy_within_its_band(reads: float) -> None:
    told = contact(form_opinion(sheet(behind_a_clamp(1000.0), reads)))
    assert told.verdict == "expected"
    assert told.band.centre_mv == pytest.approx(520, abs=1)


def test_without_healthy_boards_a_kilohm_behind_a_clamp_does_not_raise_what_is_expected() -> None:
    alone = sheet(behind_a_clamp(1000.0), 470.0)
    told = contact(form_opinion(replace(alone, known_good_readings=(), reference_boards=())))
    assert told.verdict == "expected"
    assert told.band.centre_mv is not None
    assert told.band.centre_mv < 600


# ---- values that cannot be -----------------------------------------------------------------------------


@pytest.mark.parametrize("ohm", [1000.0, 1e5, 1e9])
def test_a_value_in_line_that_healthy_boards_speak_against_is_asked_about_and_not_used(ohm: float) -> None:
    """1 kohm drops 1000 mV at 1 mA; healthy boards read 520 with the junction behind it."""
    path = (SeriesPart(part="R1", ohm=ohm), END)
    asked = [one for one in form_opinion(sheet(path, 520.0)).questions if one.code == "path_cannot_be"]
    assert [one.contact for one in asked] == ["8"]
    assert "R1" in asked[0].sentence
    assert f"would drop {ohm:.0f} mV alone, where healthy boards read 520 mV" in asked[0].sentence
    for reads, verdict in ((520.0, "expected"), (510.0, "expected"), (90.0, "low"), (2.0, "short")):
        told = contact(form_opinion(sheet(path, reads)))
        assert told.verdict == verdict, reads
        assert told.band.centre_mv == pytest.approx(520, abs=1)


def test_what_fits_is_not_asked_about_and_an_unmeasured_meter_gets_the_benefit_of_the_doubt() -> None:
    untold = Meter(id="bench", name="bench")
    for ohm, meter in ((33.0, BENCH_METER), (330.0, BENCH_METER), (1000.0, untold)):
        opinion = form_opinion(sheet((SeriesPart(part="R1", ohm=ohm), END), 520.0, meters=(meter,)))
        assert not [one for one in opinion.questions if one.code == "path_cannot_be"], ohm


def test_two_lines_joined_read_something_whatever_lies_in_one_of_them() -> None:
    """A megohm in one of two lines that read alike cannot be; an answer comes all the same."""
    assert joined_mv(520.0, 480.0, 5.0, 1e6, 38.0) < 480.0
    # 1500 ohm and a junction of 465 mV beside one of 475 mV: by halving, both branches at one voltage, 466.8676 mV
    assert joined_mv(1970.0, 470.0, 1505.0, 5.0, 38.6) == pytest.approx(466.8676, abs=0.001)
