"""Lines of another maker's chip stand off together: the chain of predictions is the joint density, by numpy."""

import math

import numpy as np
import pytest

from server.engine.accepted_board import accept_board
from server.engine.constants.overstress import REVISION_OWN_SD_MV, REVISION_SPAN_MV
from server.engine.door import form_opinion
from server.engine.drops import SHIFTED, View, state_densities
from server.engine.other_maker import shifted_together
from server.engine.seen import Seen
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

BOARD = accept_board(sheet_of(board_of([line(n, "control", leads_to="U1") for n in range(1, 6)])))
SCALE_MV = 4.0


def told(drops: list[float]) -> list[View]:
    """The view of each of five lines that read 450 mV when healthy."""
    views = {
        (k, "red"): View(450.0, SCALE_MV, 12.0, 0.0, 0.0, 32.0, 5.0, 1.0, 2000.0, (), ()) for k in range(len(drops))
    }
    seen = {
        (k, "red"): Seen(k, "red", "m", drop, None, 1, 1, None, (f"r{k}",), str(k + 1)) for k, drop in enumerate(drops)
    }
    found = shifted_together(BOARD, seen, views)
    return [found[k, "red"] for k in range(len(drops))]


def log_density(drops: list[float]) -> float:
    """Of all five under another maker's chip, as the engine has it."""
    pairs = zip(drops, told(drops), strict=True)
    return math.fsum(math.log(state_densities(drop, view)[SHIFTED]) for drop, view in pairs)


def by_quadrature(drops: list[float]) -> float:
    """The same: one shift, even within what makers differ by, and each line's own scatter around it."""
    own = math.hypot(SCALE_MV, REVISION_OWN_SD_MV)
    shifts, step = np.linspace(-REVISION_SPAN_MV, REVISION_SPAN_MV, 20001, retstep=True)
    each = [np.exp(-0.5 * ((drop - 450.0 - shifts) / own) ** 2) / (own * math.sqrt(2 * math.pi)) for drop in drops]
    return math.log(float(np.prod(each, axis=0).sum()) * float(step) / (2 * REVISION_SPAN_MV))


@pytest.mark.parametrize(
    "off", [[40.0, 44.0, 37.0, 41.0, 46.0], [0.0, 3.0, -4.0, 1.0, 2.0], [-60.0, -50.0, -70.0, -58.0, -61.0]]
)
def test_the_lines_together_have_the_density_of_one_shift_and_their_own_scatter(off: list[float]) -> None:
    drops = [450.0 + one for one in off]
    assert log_density(drops) == pytest.approx(by_quadrature(drops), abs=0.02)


def test_lines_far_off_alike_are_not_another_maker() -> None:
    """Makers differ by 20 to 60 mV (common practice, no source); lines that are 115 mV low alike are hurt alike."""
    near, far = [450.0 - 55 + k for k in range(5)], [450.0 - 115 + k for k in range(5)]
    assert by_quadrature(far) < by_quadrature(near) - 30
    assert log_density(far) < log_density(near) - 30


def test_one_line_that_stands_off_alone_is_not_another_maker() -> None:
    drops = [450.0, 452.0, 449.0, 495.0, 451.0]
    loc, sd = told(drops)[3].other_maker or (math.nan, math.nan)
    assert loc == pytest.approx(450.5, abs=1)
    assert (495.0 - loc) / sd > 3.5


def test_a_line_with_a_fault_of_its_own_moves_nobody() -> None:
    drops = [494.0, 492.0, 496.0, 30.0, 493.0]
    stands = [view.other_maker[0] for view in told(drops) if view.other_maker is not None]
    assert len(stands) == 4  # all but the first of the chain
    assert min(stands) > 480


# ---- on a whole board ----------------------------------------------------

LANES = [line(n, "lane", leads_to="U1") for n in range(2, 10)]
CONTROLS = [line(n, "control", leads_to="U2") for n in range(10, 18)]
TWO_CHIPS = board_of([line(1, "ground"), *LANES, *CONTROLS])
USUAL: dict[str, float] = {**{str(n): 360.0 + n for n in range(2, 10)}, **{str(n): 470.0 + n for n in range(10, 18)}}


@pytest.mark.parametrize("shift_mv", [-45, 40])
def test_it_is_told_and_moves_neither_the_meter_nor_the_air_for_the_rest(shift_mv: int) -> None:
    drops = {contact: mv + (shift_mv if int(contact) < 10 else 0) for contact, mv in USUAL.items()}
    opinion = form_opinion(sheet_of(TWO_CHIPS, touched({"1": 0, **drops}), known=nine_boards({"1": 0.0, **USUAL})))
    assert opinion.stories[0].kind == "other_revision"
    assert opinion.stories[0].odds > 0.9
    assert [one.contact for one in opinion.contacts if one.verdict != "expected"] == []
    for one in opinion.contacts:
        if one.contact.isdigit() and int(one.contact) >= 10:
            assert one.off_by_mv == pytest.approx(0, abs=3)


def test_a_whole_board_that_is_warm_is_no_chip_of_another_maker() -> None:
    drops = {contact: mv - 13 for contact, mv in USUAL.items()}
    opinion = form_opinion(sheet_of(TWO_CHIPS, touched({"1": 0, **drops}), known=nine_boards({"1": 0.0, **USUAL})))
    assert [story.odds for story in opinion.stories if story.kind == "other_revision" and story.odds > 0.1] == []
