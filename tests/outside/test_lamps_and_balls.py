"""Two puzzles whose best first question is known: ten lamps in series, and twelve balls on a balance.

Sources:
- Ten lamps in series, one open, a voltmeter: log2(10) = 3.3219 bit are unknown, the best first reading is
  across five lamps and gives 1 bit, four readings are enough. Public course notes on measurement
  strategy (Opole University of Technology); numbers recomputed.
- Twelve balls, one heavier or lighter, a balance: D. J. C. MacKay, Information Theory, Inference, and
  Learning Algorithms, exercise 4.1. Weighing six against six gives 1 bit, four against four log2(3) =
  1.58496 bit of 4.58496. The exercise is public; the numbers are *computed*.

Does not prove: anything about noisy readings; every answer here is certain.
"""

import math
from itertools import product

from pytest import approx

from server.engine import latent

N_LAMPS = 10
DARK_METER, FULL_VOLTAGE = 0, 1


def lamps() -> latent.LatentModel:
    """Story i: lamp i is open. Variable k: the meter spans the first k + 1 lamps and shows the full
    supply when the open lamp is among them."""
    nothing, full = (1.0, 0.0), (0.0, 1.0)
    footprints = [[(k, 1) for k in range(N_LAMPS - 1) if lamp <= k] for lamp in range(N_LAMPS)]
    return latent.LatentModel(
        [[nothing, full] for _ in range(N_LAMPS - 1)], [0.0] * N_LAMPS, footprints, list(range(N_LAMPS))
    )


def test_the_first_reading_spans_half_the_lamps() -> None:
    model = lamps()
    post = latent.posterior(model.log_priors)
    gains = latent.story_gains(model, post, list(range(N_LAMPS - 1)))
    assert gains.index(max(gains)) == 4
    assert gains[4] == approx(1)
    assert gains[0] == approx(math.log2(10) - 0.9 * math.log2(9))


def test_following_the_gain_finds_every_lamp_in_four_readings_or_fewer() -> None:
    model = lamps()
    taken = []
    for open_lamp in range(N_LAMPS):
        ll: list[list[float] | None] = [None] * (N_LAMPS - 1)
        post = latent.posterior(model.log_priors)
        bits = 0.0
        while max(post) < 1 - 1e-9:
            unread = [k for k, row in enumerate(ll) if row is None]
            gains = latent.story_gains(model, post, unread)
            best = unread[gains.index(max(gains))]
            ll[best] = [-math.inf, 0.0] if open_lamp <= best else [0.0, -math.inf]
            after = latent.posterior(latent.story_scores(model, ll))
            bits += math.log2(after[open_lamp] / post[open_lamp])
            post = after
        assert post.index(max(post)) == open_lamp
        assert bits == approx(math.log2(10))
        taken.append(sum(row is not None for row in ll))
    assert max(taken) == 4
    # 10 leaves of a best binary tree: six at depth 3, four at depth 4
    assert sum(taken) == 34


def test_weighing_four_against_four_tells_most() -> None:
    states = list(product(range(12), (-1, 1)))

    def weigh(n: int) -> list[tuple[float, float, float]]:
        """Left pan balls 0 to n-1, right pan n to 2n-1: left heavy, level, right heavy."""
        rows = []
        for ball, excess in states:
            tilt = excess if ball < n else -excess if ball < 2 * n else 0
            rows.append((float(tilt > 0), float(tilt == 0), float(tilt < 0)))
        return rows

    gains = [latent.test_gain([1.0] * 24, list(range(24)), weigh(n)) for n in range(1, 7)]
    assert gains[5] == approx(1)
    assert gains[3] == approx(math.log2(3))
    assert gains.index(max(gains)) == 3
    assert math.log2(len(states)) == approx(4.58496, abs=5e-6)
    # What decides may be less than what is unknown: which ball, never mind heavier or lighter.
    ball_only = latent.test_gain([1.0] * 24, [ball for ball, _ in states], weigh(4))
    assert ball_only == approx(math.log2(3) - 2 / 3)
