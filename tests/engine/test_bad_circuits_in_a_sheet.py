"""Paths, meters and answers that cannot be right, as they come in a sheet: an opinion with a stated fallback.

What the circuit's own doors refuse, each with its five words, is in `test_circuit_refusals`.
"""

from typing import Any

import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.board import ChipPin, PathElement, Pull, SeriesPart, ShuntPart
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.reading import AcrossPart, Meter, Reading
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, at_place, board_of, line, nine_boards, sheet_of, touched

LANES = ("2", "3", "4", "5", "6", "7")
MEANS = {"1": 0.5, **dict.fromkeys(LANES, 338.0), "8": 470.0}
R1 = SeriesPart(part="R1", ohm=33.0)
END = ChipPin(part="U1", pin="A1")
UNTOLD = replace(BENCH_METER, test_current_ma=None, test_current_sd_pct=None)


def sheet(path: tuple[PathElement, ...] = (), reads: str = "470", *more: Reading, **fields: Any) -> BenchSheet:
    """Eight contacts; the last, 8, has this path and reads this."""
    board = board_of(
        [line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in LANES), line("8", "control", path=path)]
    )
    read = {**{n: str(round(at)) for n, at in MEANS.items()}, "8": reads}
    return sheet_of(board, (*touched(read), *more), known=nine_boards(MEANS), **fields)


def contact(opinion: Opinion, number: str = "8") -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == number)


def test_a_path_with_a_part_twice_is_read_and_a_low_number_stays_a_sentence() -> None:
    loop = (R1, R1, ShuntPart(part="C1"), ShuntPart(part="C1"), END)
    assert contact(form_opinion(sheet(loop))).verdict == "expected"
    low = contact(form_opinion(sheet(loop, "90")))
    assert low.verdict == "low"
    assert any("ohm" in reason.sentence for reason in low.reasons)


@pytest.mark.parametrize(("loop", "once", "named"), [
    ((R1, R1, END), (R1, END), "R1"),
    ((END, R1, END), (END, R1), "U1.A1"),
])
def test_a_path_that_names_a_part_twice_counts_it_once_and_asks(
    loop: tuple[PathElement, ...], once: tuple[PathElement, ...], named: str
) -> None:
    told, plain = (form_opinion(sheet(path, "45")) for path in (loop, once))
    assert [one.sentence for one in told.questions if one.code == "path_twice"] == [
        f"The path of 8 names {named} twice: it is taken once, where it stands first, until the path is put right."
    ]
    assert not plain.questions
    assert contact(told) == contact(plain)
    assert told.stories == plain.stories


def test_a_path_that_ends_nowhere_takes_the_roles_own_end() -> None:
    for path in ((R1,), (Pull(ohm=10_000, to_net="NOWHERE"),), (ShuntPart(part="C1", to_net="NOWHERE"),)):
        opinion = form_opinion(sheet(path))
        assert contact(opinion).verdict == "expected", path
        assert contact(form_opinion(sheet(path, "60"))).verdict in ("low", "short"), path


def test_a_path_of_a_blocking_part_alone_shows_ol_when_healthy() -> None:
    blocked = sheet((SeriesPart(part="C9", blocks_dc=True),), "OL")
    opinion = form_opinion(replace(blocked, known_good_readings=(), reference_boards=()))
    assert contact(opinion).verdict == "unseen"


def sheet_untold(meters: tuple[Meter, ...]) -> Opinion:
    return form_opinion(sheet(meters=meters))


def test_a_meter_without_a_current_is_said_to_have_none_and_its_numbers_are_used() -> None:
    opinion = sheet_untold((UNTOLD,))
    assert not opinion.session.told_by_sheet
    assert {one.verdict for one in opinion.contacts} == {"expected"}


def test_healthy_boards_at_an_unknown_current_leave_a_wider_doubt() -> None:
    told = sheet((), meters=(BENCH_METER, replace(BENCH_METER, id="other")))
    known = tuple(replace(one, meter_id="other") for one in told.known_good_readings)
    sure = form_opinion(replace(told, known_good_readings=known))
    unsure = form_opinion(
        replace(told, known_good_readings=known, meters=(BENCH_METER, replace(UNTOLD, id="other")))
    )
    assert (unsure.session.current_sd_pct or 0) > (sure.session.current_sd_pct or 0)
    assert {one.verdict for one in unsure.contacts} == {"expected"}


def test_a_part_measured_open_and_whole_says_nothing_either_way() -> None:
    def across(typed: str, name: str) -> Reading:
        return at_place(AcrossPart(part="R1"), typed, id=name, kind="ohms", unit="ohm")

    def odds(*more: Reading) -> float:
        stories = form_opinion(sheet((R1, END), "OL", *more)).stories
        return next((one.odds for one in stories if one.kind == "series_open"), 0.0)

    def questions(*more: Reading) -> list[str]:
        opinion = form_opinion(sheet((R1, END), "OL", *more))
        return [one.sentence for one in opinion.questions if one.code == "part_in_two_states"]

    alone = odds()
    assert questions(across("OL", "a")) == questions(across("33.1", "b")) == []
    assert questions(across("OL", "a"), across("33.1", "b")) == [
        "R1 was measured open and not open: until one is taken back they say nothing either way."
    ]
    assert odds(across("OL", "a")) > alone
    assert abs(odds(across("OL", "a"), across("33.1", "b")) - alone) < 0.05


def asked(opinion: Opinion) -> list[str]:
    return [one.sentence for one in opinion.questions if one.code == "above_the_meter"]


def test_a_limit_below_what_the_meter_showed_is_asked_about_and_not_used() -> None:
    """Its sheet says OL from 300 mV on, and it showed seven numbers above that."""
    opinion = form_opinion(sheet(meters=(replace(BENCH_METER, open_circuit_mv=300.0),)))
    assert asked(opinion) == [
        "476 mV is more than bench can show, whose sheet says OL from 300 mV on: its limit is not used until its sheet "
        "is put right."
    ]
    assert {one.verdict for one in opinion.contacts} == {"expected"}
    assert asked(form_opinion(sheet())) == []


def test_one_number_above_the_limit_is_asked_about_and_the_limit_stands() -> None:
    opinion = form_opinion(sheet(reads="2400"))
    assert len(asked(opinion)) == 1
    assert asked(opinion)[0].startswith("2400 mV is more than bench can show, whose sheet says OL from 2000 mV on: one")
