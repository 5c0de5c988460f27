"""Posterior and gain hold in a simulated world: seeded draws of story and outcomes, counted.

Independent of both the sparse walk and the formulas: nothing but how often things happen together.
Bounds are 5 standard errors of the counted share, so a right engine fails once in two million.
"""

import math
import random
from collections import Counter

from server.engine import latent
from tests.support.latent_models import log_likelihoods, outcome_rows, random_model

N_WORLDS = 60_000


def test_stories_come_true_as_often_as_the_posterior_says() -> None:
    model = random_model(seed=11, n_variables=4, n_stories=6)
    rng = random.Random(12)
    rows = [outcome_rows(model, c) for c in range(4)]
    priors = latent.posterior(model.log_priors)
    seen: dict[tuple[int, int], Counter[int]] = {}
    for story in rng.choices(range(6), priors, k=N_WORLDS):
        shown = (_draw(rng, rows[0][story]), _draw(rng, rows[1][story]))
        seen.setdefault(shown, Counter())[story] += 1
    checked = 0
    for (o0, o1), stories in seen.items():
        n = stories.total()
        if n < 500:
            continue
        post = latent.posterior(latent.story_scores(model, log_likelihoods(model, {0: o0, 1: o1})))
        for story, p in enumerate(post):
            assert abs(stories[story] / n - p) <= 5 * math.sqrt(p * (1 - p) / n) + 1 / n
            checked += 1
    assert checked >= 20


def test_a_gain_is_what_a_reading_takes_off_the_surprise_on_average() -> None:
    model = random_model(seed=5, n_variables=3, n_stories=8)
    rng = random.Random(6)
    priors = latent.posterior(model.log_priors)
    gains = latent.story_gains(model, priors, [0, 1, 2])
    assert max(gains) > 0.1
    for c in range(3):
        rows = outcome_rows(model, c)
        after = [
            latent.posterior(latent.story_scores(model, log_likelihoods(model, {c: o}))) for o in range(len(rows[0]))
        ]
        drops = []
        for story in rng.choices(range(8), priors, k=N_WORLDS):
            outcome = _draw(rng, rows[story])
            drops.append(math.log2(after[outcome][story] / priors[story]))
        mean = math.fsum(drops) / N_WORLDS
        se = math.sqrt(math.fsum((drop - mean) ** 2 for drop in drops) / N_WORLDS / N_WORLDS)
        assert abs(mean - gains[c]) <= 5 * se


def _draw(rng: random.Random, distribution: tuple[float, ...]) -> int:
    return rng.choices(range(len(distribution)), distribution)[0]
