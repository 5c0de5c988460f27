"""Whether a healthy contact shows OL: what some healthy boards say of the next one."""

import pytest
from scipy import integrate, stats

from server.engine.door import form_opinion
from server.engine.over_range import ol_odds_of
from shared_models.opinion import ContactOpinion
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = [str(n) for n in range(2, 10)]
FAILS = 0.02


def drawn_out(over_range: int, boards: int, *, by_role: bool) -> float:
    """The same by adding up the three kinds with scipy: two of a share that is known, one of any share at all."""
    ol = 0.98 if by_role else 0.01
    kinds = [(0.99 - ol, FAILS * 0.6, 0.0), (ol, 1 - FAILS * 0.25, 1.0)]
    seen = [(weight * stats.binom.pmf(over_range, boards, share), next_) for weight, share, next_ in kinds]

    def any_share(share: float) -> float:
        return 0.01 * float(stats.binom.pmf(over_range, boards, share))

    either, _ = integrate.quad(any_share, 0, 1)
    shown, _ = integrate.quad(lambda share: share * any_share(share), 0, 1)
    return (sum(p * next_ for p, next_ in seen) + shown) / (sum(p for p, _ in seen) + either)


@pytest.mark.parametrize("by_role", [False, True])
@pytest.mark.parametrize(("over_range", "boards"), [(0, 1), (1, 1), (1, 8), (2, 8), (3, 8), (8, 8), (7, 8), (0, 20)])
def test_the_odds_are_those_of_three_kinds_of_contact_added_up(over_range: int, boards: int, by_role: bool) -> None:
    told = ol_odds_of(over_range, boards, by_role=by_role, fails=FAILS)
    assert told == pytest.approx(drawn_out(over_range, boards, by_role=by_role), rel=1e-6)


def test_one_ol_among_eight_by_hand() -> None:
    # a number, one touch missed: 0.98 x 8 x 0.012 x 0.988^7 = 0.0865; either: 0.01 / 9 = 0.00111, next 2 of 10
    assert ol_odds_of(1, 8, by_role=False, fails=FAILS) == pytest.approx(0.00111 * 0.2 / (0.0865 + 0.00111), rel=0.01)


def test_more_healthy_boards_with_ol_make_ol_healthier() -> None:
    told = [ol_odds_of(n, 8, by_role=False, fails=FAILS) for n in range(9)]
    assert told == sorted(told)
    assert told[0] < 0.001
    assert told[3] > 0.2
    assert told[8] > 0.98


def test_a_missed_touch_on_one_healthy_board_does_not_make_a_torn_contact_healthy() -> None:
    board = board_of([line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in LANES), line("10", "ground")])
    known = nine_boards(dict.fromkeys(LANES, 338.0))
    first = next(one for one in known["known_good_readings"] if one.touch.contact == "5")
    missed = touched({"5": "OL"}, prefix="missed", of=first.of, stage="on_healthy_board")[0]
    known["known_good_readings"] = tuple(missed if one is first else one for one in known["known_good_readings"])
    drops = dict.fromkeys(LANES, 338.0)
    twice = [*((n, mv) for n, mv in drops.items() if n != "5"), ("5", "OL"), ("5", "OL")]
    opinion = form_opinion(sheet_of(board, touched(twice), known=known))
    torn: ContactOpinion = next(one for one in opinion.contacts if one.contact == "5")
    assert torn.verdict == "open"
    assert torn.odds.open > 0.8
