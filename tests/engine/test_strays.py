"""How far this board's other contacts stray tells how wide a band is: by hand, by numerical integration (scipy), by
draws from what is assumed, and in the opinion itself.
"""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from server.engine.bands import Healthy
from server.engine.constants.readings import OWN_SPREAD_DF, ROLE_SPREAD_DF, SPREAD_LEAST
from server.engine.door import form_opinion
from server.engine.prepared import prepare
from server.engine.roles import PLAIN_PATH
from server.engine.strays import Strays, Told, as_others_stray
from shared_models.opinion import Opinion
from tests.engine.test_bands import LANES, OTHERS_READ, lanes, of, width
from tests.support.benches import board_of, line, nine_boards, references, sheet_of, touched

PREPARED = prepare(sheet_of(board_of(lanes())))
FOUR = PREPARED.board.places["4"]
ONE_BOARD = Healthy("reference_boards", 338.0, 5.0, 5.0, 0.0, 0.0, 0.0, boards=1, path=PLAIN_PATH)
CONTROLS = ["11", "12", "13", "14", "15", "16", "17", "18"]
STEPS = (9.0, -9.0, 9.0, -9.0, -9.0, 9.0, -9.0, 9.0)


def judged(strays: Strays, band: Healthy = ONE_BOARD) -> tuple[float, float]:
    return as_others_stray(PREPARED, FOUR, band, strays)


def test_the_others_tell_of_scale_and_tails_as_worked_by_hand() -> None:
    own, role, board = Told(1.0, 9.0), Told(11.0, 11.5), Told(21.0, 21.5)
    df, factor = judged(Strays({FOUR: own}, {"lane": role}, board))
    # a band of five degrees has 1 / (1/5 - 1/12) = 60/7 of the part all share; twenty others with squares of 12.5
    # in all: (8.571 + 12.5) / 28.571 = 0.7375; ten of its own role with 2.5: (12 x 0.7375 + 2.5) / 22 = 0.5159
    assert factor == pytest.approx(math.sqrt(0.5159), rel=1e-4)
    assert df == pytest.approx(1 / (1 / 12 + 7 / 200), rel=1e-9)


def test_without_others_and_away_from_healthy_boards_a_band_stays_as_it_is() -> None:
    nobody = Strays({}, {}, Told())
    assert judged(nobody) == (pytest.approx(5.0), pytest.approx(1.0))
    loud = Strays({}, {"lane": Told(10.0, 90.0)}, Told(10.0, 90.0))
    assert judged(loud)[1] > 1.5
    for other in (ONE_BOARD._replace(rests_on="siblings"), ONE_BOARD._replace(path=None)):
        assert judged(loud, other) == (5.0, 1.0)


def test_no_quiet_board_narrows_a_band_below_its_least() -> None:
    assert judged(Strays({}, {"lane": Told(200.0)}, Told(200.0)))[1] == SPREAD_LEAST


def test_what_the_board_says_is_the_posterior_of_a_normal_spread() -> None:
    count, squares = 14.0, 25.0
    shared = 1 / (1 / ONE_BOARD.df - 1 / OWN_SPREAD_DF)

    def joint(precision: float, extra: float) -> float:
        likelihood = precision ** (count / 2) * math.exp(-precision * squares / 2)
        return stats.gamma.pdf(precision, shared / 2, scale=2 / shared) * likelihood * extra

    def predicted(z: float) -> float:
        return integrate.quad(lambda p: joint(p, float(stats.norm.pdf(z, 0, 1 / math.sqrt(p)))), 0, 20)[0] / whole

    whole = integrate.quad(lambda p: joint(p, 1.0), 0, 20)[0]
    _, factor = judged(Strays({}, {}, Told(count, squares)))
    for z in (0.0, 1.0, 2.5, 4.0):
        assert stats.t.pdf(z, shared + count, 0, factor) == pytest.approx(predicted(z), rel=1e-6)


def test_intervals_hold_what_they_say_where_spreads_are_drawn_as_assumed() -> None:
    rng = np.random.default_rng(5)
    shared = 1 / (1 / ONE_BOARD.df - 1 / OWN_SPREAD_DF)

    def spread(df: float) -> float:
        return float(df / rng.chisquare(df))

    held = 0
    for _ in range(4000):
        board = spread(shared)
        same, other = (board * spread(ROLE_SPREAD_DF) for _ in range(2))
        z = [rng.normal(0, math.sqrt(role * spread(OWN_SPREAD_DF))) for role in (same,) * 13 + (other,) * 12]
        role, rest = Told(12.0, sum(x * x for x in z[1:13])), Told(12.0, sum(x * x for x in z[13:]))
        df, factor = judged(Strays({}, {"lane": role}, Told(24.0, role.squares + rest.squares)))
        held += abs(z[0]) < factor * stats.t.ppf(0.975, df)
    assert 0.94 < held / 4000 < 0.97


def straying(lane_mv: float, control_mv: float) -> Opinion:
    """Of eight lanes and eight control lines all but lane 4 and line 14 read, that far off what one board reads."""
    board = board_of(lanes(*(line(n, "control", leads_to="U2") for n in CONTROLS)))
    healthy = dict.fromkeys(LANES, 338.0) | dict.fromkeys(CONTROLS, 520.0)
    read: dict[str, str | float] = {
        n: healthy[n] + step * by
        for names, by in ((LANES, lane_mv / 9), (CONTROLS, control_mv / 9))
        for n, step in zip(names, STEPS, strict=True) if n not in ("4", "14")
    }
    return form_opinion(sheet_of(board, touched(read), known=references([healthy])))


def test_a_board_whose_lines_stray_has_wider_bands_than_a_quiet_one_and_its_own_role_counts_most() -> None:
    quiet, loud, lanes_loud = straying(1.0, 1.0), straying(5.0, 5.0), straying(5.0, 1.0)
    for contact in ("4", "14"):
        assert width(loud, contact) > 1.5 * width(quiet, contact)
    assert width(lanes_loud, "4") / width(quiet, "4") > 1.3 * width(lanes_loud, "14") / width(quiet, "14")


def test_a_contact_does_not_hide_its_own_deviation() -> None:
    known = nine_boards(dict.fromkeys(LANES, 338.0), spread_mv=4.0)
    near, far = (
        form_opinion(sheet_of(board_of(lanes()), touched({**OTHERS_READ, "4": at}), known=known)) for at in (338, 329)
    )
    # the session moves a little with every contact, and the others' deviations with it
    assert width(far, "4") == pytest.approx(width(near, "4"), rel=0.04)
    assert width(far, "5") > 1.15 * width(near, "5")
    assert of(far, "5").band.rests_on == "reference_boards"
