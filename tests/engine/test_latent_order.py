"""The order in which stories and variables are listed means nothing."""

import random

from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from server.engine import latent
from tests.support.latent_models import log_likelihoods, random_model, random_observations

SEEDS = st.integers(0, 2**32 - 1)


@given(SEEDS)
def test_stories_in_another_order_get_the_same_posterior_and_gains(seed: int) -> None:
    model = random_model(seed)
    observed = random_observations(seed, model)
    order = list(range(len(model.log_priors)))
    random.Random(seed).shuffle(order)
    moved = latent.LatentModel(
        model.signatures,
        [model.log_priors[s] for s in order],
        [model.footprints[s] for s in order],
        [model.decisions[s] for s in order],
    )
    ll = log_likelihoods(model, observed)
    post = latent.posterior(latent.story_scores(model, ll))
    moved_post = latent.posterior(latent.story_scores(moved, ll))
    assert moved_post == approx([post[s] for s in order], abs=1e-14)
    every = list(range(len(model.signatures)))
    assert latent.story_gains(moved, moved_post, every) == approx(latent.story_gains(model, post, every), abs=1e-12)
    assert latent.decision_gains(moved, moved_post, every) == approx(
        latent.decision_gains(model, post, every), abs=1e-12
    )
    groups, moved_groups = latent.same_prediction_groups(model), latent.same_prediction_groups(moved)
    together = {(s, t) for s in order for t in order if groups[s] == groups[t]}
    moved_together = {
        (s, t) for i, s in enumerate(order) for j, t in enumerate(order) if moved_groups[i] == moved_groups[j]
    }
    assert together == moved_together


@given(SEEDS)
def test_variables_in_another_order_get_the_same_posterior_and_gains(seed: int) -> None:
    model = random_model(seed)
    observed = random_observations(seed, model)
    order = list(range(len(model.signatures)))
    random.Random(seed).shuffle(order)
    place = {c: i for i, c in enumerate(order)}
    moved = latent.LatentModel(
        [model.signatures[c] for c in order],
        model.log_priors,
        [[(place[c], g) for c, g in reversed(footprint)] for footprint in model.footprints],
        model.decisions,
    )
    moved_observed = {place[c]: o for c, o in observed.items()}
    post = latent.posterior(latent.story_scores(model, log_likelihoods(model, observed)))
    moved_post = latent.posterior(latent.story_scores(moved, log_likelihoods(moved, moved_observed)))
    assert moved_post == approx(post, abs=1e-12)
    unread = [c for c in order if c not in observed]
    moved_unread = [place[c] for c in unread]
    assert latent.story_gains(moved, moved_post, moved_unread) == approx(
        latent.story_gains(model, post, unread), abs=1e-12
    )
    assert latent.same_prediction_groups(moved) == latent.same_prediction_groups(model)
