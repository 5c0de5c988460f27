"""The sparse inference gives what full enumeration gives: posterior, predictions, gains, evidence."""

import math

from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from server.engine import latent
from tests.support.latent_models import (
    by_enumeration,
    decision_masses,
    entropy_bits,
    log_likelihoods,
    outcome_rows,
    random_model,
    random_observations,
)

SEEDS = st.integers(0, 2**32 - 1)
CLOSE = 1e-10


@given(SEEDS)
def test_posterior_predictions_and_evidence_equal_full_enumeration(seed: int) -> None:
    model = random_model(seed)
    observed = random_observations(seed, model)
    slow = by_enumeration(model, observed)
    ll = log_likelihoods(model, observed)
    scores = latent.story_scores(model, ll)
    post = latent.posterior(scores)
    assert post == approx(slow.posterior, abs=CLOSE)
    assert math.fsum(post) == approx(1, abs=1e-12)
    assert latent.log_evidence(model, ll, scores) == approx(math.log(slow.evidence), abs=1e-9)
    masses = latent.signature_masses(model, post)
    assert [math.fsum(row) for row in masses] == approx([1.0] * len(masses), abs=1e-12)
    for fast, wanted in zip(latent.outcome_predictions(model, masses), slow.predictions, strict=True):
        assert list(fast) == approx(wanted, abs=CLOSE)


@given(SEEDS)
def test_gains_equal_the_entropy_that_full_enumeration_loses(seed: int) -> None:
    model = random_model(seed)
    observed = random_observations(seed, model)
    slow = by_enumeration(model, observed)
    post = latent.posterior(latent.story_scores(model, log_likelihoods(model, observed)))
    unread = [c for c in range(len(model.signatures)) if c not in observed]
    assert latent.story_gains(model, post, unread) == approx([slow.story_gains[c] for c in unread], abs=CLOSE)
    gains, changes = latent.decision_outlook(model, post, unread)
    assert gains == approx([slow.decision_gains[c] for c in unread], abs=CLOSE)
    assert changes == approx([slow.change_chances[c] for c in unread], abs=CLOSE)
    assert latent.decision_gains(model, post, unread) == gains


@given(SEEDS)
def test_a_test_that_is_no_variable_is_judged_by_the_same_measure(seed: int) -> None:
    model = random_model(seed)
    post = latent.posterior(model.log_priors)
    slow = by_enumeration(model, {})
    unnormalised = [3.0 * p for p in post]
    for c in range(len(model.signatures)):
        rows = outcome_rows(model, c)
        gain, change = latent.test_outlook(unnormalised, model.decisions, rows)
        assert gain == approx(slow.decision_gains[c], abs=CLOSE)
        assert change == approx(slow.change_chances[c], abs=CLOSE)
        assert latent.test_gain(unnormalised, list(range(len(post))), rows) == approx(slow.story_gains[c], abs=CLOSE)


@given(SEEDS)
def test_a_gain_is_never_below_nothing_nor_above_what_is_unknown_or_shown(seed: int) -> None:
    model = random_model(seed)
    post = latent.posterior(model.log_priors)
    every = list(range(len(model.signatures)))
    predictions = latent.outcome_predictions(model, latent.signature_masses(model, post))
    story_gains = latent.story_gains(model, post, every)
    decision_gains = latent.decision_gains(model, post, every)
    for c in every:
        shown = entropy_bits(list(predictions[c]))
        assert 0 <= decision_gains[c] <= story_gains[c] + CLOSE
        assert story_gains[c] <= min(shown, entropy_bits(post)) + CLOSE
        assert decision_gains[c] <= entropy_bits(decision_masses(post, model.decisions)) + CLOSE


@given(SEEDS)
def test_reading_one_after_the_other_or_all_at_once_ends_at_the_same_posterior(seed: int) -> None:
    model = random_model(seed)
    observed = random_observations(seed, model, share=0.8)
    step_by_step = list(model.log_priors)
    for c, o in observed.items():
        stepped = latent.LatentModel(model.signatures, step_by_step, model.footprints, model.decisions)
        step_by_step = latent.story_scores(stepped, log_likelihoods(model, {c: o}))
    at_once = latent.story_scores(model, log_likelihoods(model, observed))
    assert latent.posterior(step_by_step) == approx(latent.posterior(at_once), abs=CLOSE)
