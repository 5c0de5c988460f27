"""A meter's sheet with a current that no diode test forces is asked about, and its current is told by its digits."""

import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.opinion import Opinion
from tests.support.bad_sheets import BOARD, MEANS, READ, good
from tests.support.benches import BENCH_METER, nine_boards, sheet_of, touched


def asked(opinion: Opinion) -> list[str]:
    return [one.sentence for one in opinion.questions if one.code == "absurd_current"]


def sentences(opinion: Opinion) -> str:
    told = [*opinion.session.reasons, *(reason for one in (*opinion.contacts, *opinion.next) for reason in one.reasons)]
    return " ".join(reason.sentence for reason in told)


@pytest.mark.parametrize(("current_ma", "words"), [(0.001, "1 µA"), (0.02, "0.02 mA"), (50.0, "50 mA")])
def test_a_current_that_no_diode_test_forces_is_asked_about(current_ma: float, words: str) -> None:
    opinion = form_opinion(replace(good(), meters=(replace(BENCH_METER, test_current_ma=current_ma),)))
    (question,) = asked(opinion)
    assert f"sheet says {words}; diode tests force 0.15 to 3 mA" in question
    assert opinion.session.current_ma == pytest.approx(current_ma, rel=0.05)


def test_an_ordinary_current_and_none_at_all_are_not_asked_about() -> None:
    for current_ma in (None, 0.1, 1.0, 3.0):
        assert asked(form_opinion(replace(good(), meters=(replace(BENCH_METER, test_current_ma=current_ma),)))) == []


def test_a_meter_that_read_only_healthy_boards_is_asked_about_too() -> None:
    tiny = replace(BENCH_METER, id="tiny", name="tiny", test_current_ma=0.001)
    known = tuple(replace(one, meter_id="tiny") for one in good().known_good_readings)
    opinion = form_opinion(replace(good(), meters=(BENCH_METER, tiny), known_good_readings=known))
    assert len(asked(opinion)) == 1
    assert asked(opinion)[0].startswith("tiny's sheet")


@pytest.mark.parametrize("reads", [470, 45, 420])
def test_a_microampere_is_never_told_as_none(reads: int) -> None:
    """In the session, at a low contact, at a known resistor, and where a meter of so small a current is proposed."""
    drops: dict[str, str | float] = {**READ, "8": reads}
    tiny = replace(BENCH_METER, test_current_ma=0.001)
    alone = sheet_of(BOARD, touched(drops), known=nine_boards(MEANS))
    for meters in ((tiny,), (BENCH_METER, replace(tiny, id="m2", name="tiny"))):
        told = sentences(form_opinion(replace(alone, meters=meters)))
        assert "0.00 mA" not in told
        if meters[0] is tiny or reads == 420:
            assert "1 µA" in told
